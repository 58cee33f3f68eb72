/**
 * The faults file of the simulated vehicle: what is wrong with it, and with the card that listens to it.
 *
 * An empty map is a healthy vehicle. Names are the file's, in snake case; `parseFaults` renames them once. Numbers of
 * outputs can only be held against a job, so `model.ts` does that.
 */
import { z } from 'zod'
import { complain, countField, numberField } from '../document/fields.js'
import { readDocument } from '../document/read.js'
import { type AmplifierFault, amplifierFaultsOf, amplifiersFaultField } from './fault-amplifiers.js'
import { type CardFault, cardFaultOf, cardFields } from './fault-card.js'
import { type ChimeFault, chimeFaultsOf, chimesFaultField } from './fault-chimes.js'
import {
  clicksField,
  dropoutsField,
  type FileTimeFaults,
  jumpsField,
  repeatsField,
  timeFaultsOf,
} from './fault-events.js'
import { eqField, freqField, levelDbvField, OUTPUT_NUMBER_MAX, qField, sectionOf } from './fault-fields.js'
import { type LeadsFault, leadsFaultOf, leadsField } from './fault-leads.js'
import { type PinFaults, pinFaultsField, pinFaultsOf } from './fault-pins.js'
import { type PowerFault, powerFaultOf, powerField } from './fault-power.js'
import { Engine, type EngineFault, engineOf, HeadUnit, type HeadUnitFault, headUnitOf } from './fault-source.js'
import type { Section } from './sections.js'

const AllPass = z.strictObject({
  freq_hz: freqField.describe('Where its phase has turned by half a circle (Hz)'),
  q: qField.describe('Q of the section'),
})

const Hum = z.strictObject({
  freq_hz: numberField(47, 63).describe('Mains frequency (Hz): 50 or 60, or a little off'),
  level_dbv: numberField(-140, 20).describe('Level of the whole series (dBV)'),
  harmonic_count: countField(1, 40).default(6).describe('Lines of the series, the mains frequency itself included'),
})

const Whistle = z.strictObject({
  freq_hz: freqField.describe('Frequency of the whistle (Hz)'),
  level_dbv: levelDbvField.describe('Its level (dBV)'),
})

const CarriedBand = z
  .strictObject({
    low_hz: freqField.optional().describe('Lower corner at -3 dB (Hz); leave out for none'),
    high_hz: freqField.optional().describe('Upper corner at -3 dB (Hz); leave out for none'),
    order: countField(1, 8).default(4).describe('Order of the slopes: 1 is 6 dB an octave, 4 is 24 dB'),
  })
  .superRefine(({ low_hz, high_hz }, context) => {
    if (low_hz === undefined && high_hz === undefined) {
      complain(context, [], 'band has no edge', 'Give low_hz or high_hz, or write band: full.')
    } else if (low_hz !== undefined && high_hz !== undefined && low_hz >= high_hz) {
      complain(
        context,
        ['low_hz'],
        `low_hz is ${low_hz}, not below high_hz ${high_hz}`,
        'Allowed: low_hz below high_hz.',
      )
    }
  })

const OutputFaults = z.strictObject({
  dead: z.boolean().default(false).describe('No signal comes out, only noise'),
  gain_db: numberField(-80, 40).default(0).describe('Off from its level (dB)'),
  inverted: z.boolean().default(false).describe('Opposite to the polarity that the map gives'),
  swapped_with: countField(1, OUTPUT_NUMBER_MAX)
    .optional()
    .describe('Output with whose pins its own are exchanged; naming it at one of the two is enough'),
  summed: z.boolean().default(false).describe('Hears half of each side, though the map gives it one'),
  band: z
    .union([z.literal('full'), CarriedBand])
    .optional()
    .describe('The band that it really carries, in place of the map: full for no filter at all, or its corners'),
  equaliser: eqField.describe('Equaliser sections that are left in'),
  all_pass: z.array(AllPass).max(8).default([]).describe('All-pass sections that are left in'),
  noise_dbv: numberField(-140, 20).optional().describe('Its noise, rms, 20 Hz to 20 kHz (dBV)'),
  hum: Hum.optional().describe('Mains hum'),
  whistle: Whistle.optional().describe('A single line that stands still'),
  distortion: z
    .strictObject({
      second_pct: numberField(0, 20).default(0).describe('Second harmonic at full level (% of the clean fundamental)'),
      // With more the curve would fold back on itself below full level.
      third_pct: numberField(0, 5).default(0).describe('Third harmonic at full level (% of the clean fundamental)'),
    })
    .optional()
    .describe('Distortion; falls with the level as that of a soft curve does'),
  clip_vpk: numberField(0.001, 100).optional().describe('Where it clips hard, either way (V peak)'),
  soft_clip_vpk: numberField(0.001, 100)
    .optional()
    .describe('What it approaches but never passes, either way: c × tanh(v / c) (V peak)'),
  leak: z
    .strictObject({
      from_output: countField(1, OUTPUT_NUMBER_MAX).describe('Output whose signal gets in'),
      level_db: numberField(-140, 0).describe("What gets in, against that output's voltage (dB)"),
    })
    .optional()
    .describe('Crosstalk from another output'),
  side_leak_db: numberField(-140, 0)
    .optional()
    .describe('What gets in from the source side that it does not hear, against the one that it hears (dB)'),
  delay_ms: numberField(-500, 500).default(0).describe('Later than the map says (ms); negative for earlier'),
  auto_mute: z
    .strictObject({
      below_dbfs: numberField(-120, 0).describe('Mutes when the source stays below this level (dBFS) ...'),
      after_s: numberField(0.05, 60).describe('... for this long (s)'),
    })
    .optional()
    .describe('Mutes itself on silence, its noise included'),
})

const outputKey = z.string().regex(/^[1-9][0-9]?$/, `the number of an output, 1 to ${OUTPUT_NUMBER_MAX}`)

const Outputs = z.record(outputKey, OutputFaults).superRefine((outputs, context) => {
  const partnerOf = new Map<number, number>()
  for (const [key, { swapped_with: other, leak }] of Object.entries(outputs)) {
    const number = Number(key)
    if (leak?.from_output === number) {
      complain(context, [key, 'leak', 'from_output'], `output ${number} leaks into itself`, 'Name another output.')
    }
    if (other === undefined || partnerOf.get(number) === other) continue
    const taken = [number, other].find((one) => partnerOf.has(one))
    if (number === other) {
      complain(context, [key, 'swapped_with'], `output ${number} is swapped with itself`, 'Name another output.')
    } else if (taken !== undefined) {
      const what = `output ${taken} is swapped with ${partnerOf.get(taken)} already`
      complain(context, [key, 'swapped_with'], what, 'Exchange each output with one other.')
    } else partnerOf.set(number, other).set(other, number)
  }
})

const Capture = z.strictObject({
  clock_offset_ppm: numberField(-2500, 2500)
    .default(21)
    .describe("How much faster the capture's clock runs than the player's (ppm)"),
  clock_drift_ppm_per_min: numberField(-60, 60)
    .default(0)
    .describe('How much faster still it runs after each minute of the capture (ppm)'),
  lead_in_s: numberField(0, 60).default(1).describe('Capture before the player starts (s)'),
  trail_s: numberField(0, 60).default(1).describe('Capture after the last sample (s)'),
  noise_dbfs: numberField(-160, 0).default(-112).describe("The card's own noise, rms, 20 Hz to 20 kHz (dBFS)"),
  hum: Hum.optional().describe("Mains hum of the card's own, on every input"),
  level_error_db: numberField(-6, 6)
    .default(0)
    .describe('How much more the card reads than the rig file makes of it (dB)'),
  ...cardFields,
})

export const FaultsFile = z.strictObject({
  seed: countField(0, 2 ** 31 - 1)
    .default(1)
    .describe('Seed of all that is random: small deviations, noise'),
  head_unit: HeadUnit.prefault({}).describe('The head unit that the vehicle listens to'),
  outputs: Outputs.default({}).describe(
    "Faults by output, as output number: what is wrong. Numbers are the channel map's",
  ),
  leads: leadsField.describe('Leads that are put on other outputs than those asked for'),
  dropouts: dropoutsField,
  repeats: repeatsField,
  jumps: jumpsField,
  clicks: clicksField,
  engine: Engine.prefault({}).describe('What comes in while the engine runs: in takes with the engine running only'),
  amplifiers: amplifiersFaultField,
  chimes: chimesFaultField,
  pins: pinFaultsField,
  power: powerField,
  capture: Capture.prefault({}).describe('The card that takes the outputs down'),
})
export type FaultsFile = z.infer<typeof FaultsFile>

export interface HumFault {
  readonly freqHz: number
  readonly levelDbv: number
  readonly harmonicCount: number
}

export interface OutputFault {
  readonly isDead: boolean
  readonly gainDb: number
  readonly isInverted: boolean
  readonly swappedWith: number | null
  readonly isSummed: boolean
  /** null: as the map says; corners that are null are not there. */
  readonly band: { readonly lowHz: number | null; readonly highHz: number | null; readonly order: number } | null
  readonly eq: readonly Section[]
  readonly noiseDbv: number | null
  readonly hum: HumFault | null
  readonly whistle: { readonly freqHz: number; readonly levelDbv: number } | null
  readonly distortion: { readonly secondPct: number; readonly thirdPct: number } | null
  readonly clipVpk: number | null
  readonly softClipVpk: number | null
  readonly leak: { readonly fromOutput: number; readonly levelDb: number } | null
  readonly sideLeakDb: number | null
  readonly delayS: number
  readonly autoMute: { readonly belowDbfs: number; readonly afterS: number } | null
}

export interface Faults extends FileTimeFaults {
  /** The file as the person named it, for messages. */
  readonly where: string
  readonly seed: number
  readonly headUnit: HeadUnitFault
  readonly outputs: ReadonlyMap<number, OutputFault>
  readonly leads: LeadsFault | null
  readonly engine: EngineFault
  /** By name of the job's channel. */
  readonly amplifiers: ReadonlyMap<string, AmplifierFault>
  readonly pins: PinFaults
  readonly power: PowerFault
  /** By name of the job's chime. */
  readonly chimes: ReadonlyMap<string, ChimeFault>
  readonly capture: {
    readonly clockOffsetPpm: number
    readonly clockDriftPpmPerMin: number
    readonly leadInS: number
    readonly trailS: number
    readonly noiseDbfs: number
    readonly hum: HumFault | null
    readonly levelErrorDb: number
  } & CardFault
}

/**
 * Reads a faults file.
 *
 * @param fileName as the person named it, for messages
 * @throws StopError naming the line, the field, what was found and what is allowed
 */
export function parseFaults(text: string, fileName: string): Faults {
  return faultsOf(readDocument(FaultsFile, text, fileName), fileName)
}

/** A healthy vehicle on a card without faults. */
export const NO_FAULTS: Faults = faultsOf(FaultsFile.parse({}), 'no faults file')

function faultsOf(file: FaultsFile, where: string): Faults {
  const { capture } = file
  return {
    where,
    seed: file.seed,
    headUnit: headUnitOf(file.head_unit),
    outputs: new Map(Object.entries(file.outputs).map(([number, output]) => [Number(number), outputOf(output)])),
    leads: leadsFaultOf(file.leads),
    ...timeFaultsOf(file),
    engine: engineOf(file.engine),
    amplifiers: amplifierFaultsOf(file.amplifiers),
    pins: pinFaultsOf(file.pins),
    power: powerFaultOf(file.power),
    chimes: chimeFaultsOf(file.chimes),
    capture: {
      clockOffsetPpm: capture.clock_offset_ppm,
      clockDriftPpmPerMin: capture.clock_drift_ppm_per_min,
      leadInS: capture.lead_in_s,
      trailS: capture.trail_s,
      noiseDbfs: capture.noise_dbfs,
      hum: humOf(capture.hum),
      levelErrorDb: capture.level_error_db,
      ...cardFaultOf(capture),
    },
  }
}

function outputOf(file: z.infer<typeof OutputFaults>): OutputFault {
  const { band, whistle, distortion, leak, auto_mute: mute } = file
  return {
    isDead: file.dead,
    gainDb: file.gain_db,
    isInverted: file.inverted,
    swappedWith: file.swapped_with ?? null,
    isSummed: file.summed,
    band:
      band === undefined
        ? null
        : band === 'full'
          ? { lowHz: null, highHz: null, order: 4 }
          : { lowHz: band.low_hz ?? null, highHz: band.high_hz ?? null, order: band.order },
    eq: [
      ...file.equaliser.map(sectionOf),
      ...file.all_pass.map(({ freq_hz, q }): Section => ({ kind: 'all_pass', freqHz: freq_hz, q, gainDb: 0 })),
    ],
    noiseDbv: file.noise_dbv ?? null,
    hum: humOf(file.hum),
    whistle: whistle ? { freqHz: whistle.freq_hz, levelDbv: whistle.level_dbv } : null,
    distortion: distortion ? { secondPct: distortion.second_pct, thirdPct: distortion.third_pct } : null,
    clipVpk: file.clip_vpk ?? null,
    softClipVpk: file.soft_clip_vpk ?? null,
    leak: leak ? { fromOutput: leak.from_output, levelDb: leak.level_db } : null,
    sideLeakDb: file.side_leak_db ?? null,
    delayS: file.delay_ms / 1000,
    autoMute: mute ? { belowDbfs: mute.below_dbfs, afterS: mute.after_s } : null,
  }
}

function humOf(hum: z.infer<typeof Hum> | undefined): HumFault | null {
  return hum ? { freqHz: hum.freq_hz, levelDbv: hum.level_dbv, harmonicCount: hum.harmonic_count } : null
}
