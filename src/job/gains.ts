/** Amplifiers and how their gains are to be set: the keys `amplifiers` and `gains` of the job file. */
import { z } from 'zod'
import { complain, countField, numberField, textField } from '../document/fields.js'
import { VOLUME_MAX } from './volume.js'

/** How far below full scale common recordings are loud: the amplifier reaches rated power there. Common practice. */
export const OVERLAPS_DB = [0, -5, -10] as const

export interface AmplifierSpec {
  readonly name: string
  /** Outputs that feed its input; several are added by the amplifier. */
  readonly outputs: readonly number[]
  readonly ratedW: number
  readonly loadOhm: number
  /** Between what its gain can be set: input volts for rated output; null where nobody wrote it down. */
  readonly sensitivityVrms: { readonly min: number; readonly max: number } | null
  readonly overlapDb: (typeof OVERLAPS_DB)[number]
  readonly isBridged: boolean
  /** Measured with its load on, for which the amplifier and the load have to be rated. */
  readonly isLoaded: boolean
}

export interface GainsSpec {
  /** Rising; empty: the reference volume alone. */
  readonly volumeSteps: readonly number[]
  /** The head unit has to be clean up to here; null: not asked for. */
  readonly volumeMin: number | null
  /** Distortion from which an output counts as clipped; null: as in limits. */
  readonly thdPctMax: number | null
  /** Of the voltage at an amplifier's terminals. */
  readonly toleranceDb: number
  /** Input on which amplifier terminals can be captured through an attenuator; null: none. */
  readonly terminalInput: { readonly inputNumber: number; readonly padDb: number } | null
}

/** Beyond this no amplifier of a vehicle swings: 15 kW into 1 Ω, or 7.5 kW into 2 Ω. */
const OUTPUT_VRMS_MAX = 125

const Amplifier = z
  .strictObject({
    name: textField(40).describe('Name of the channel: front left'),
    outputs: z
      .array(countField(1, 99))
      .min(1)
      .max(8)
      .describe('Outputs of the map that feed it; several where the amplifier adds them'),
    rated_w: numberField(1, 10_000).describe('Rated power into this load (W)'),
    load_ohm: numberField(0.5, 16).describe(
      'Nominal impedance of its load (Ω); of a bridged pair that of the load itself',
    ),
    sensitivity_vrms: z
      .strictObject({
        min: numberField(0.05, 20).describe('Least input voltage for rated output, gain fully up (V rms)'),
        max: numberField(0.05, 40).describe('Highest input voltage for rated output, gain fully down (V rms)'),
      })
      .optional()
      .describe('Range of its gain, as input voltage for rated output, from its data sheet (V rms)'),
    overlap_db: z
      .literal(OVERLAPS_DB)
      .default(0)
      .describe('Level of the recording at which it reaches rated power (dBFS): 0, -5 for usual, -10 for quiet ones'),
    bridged: z.boolean().default(false).describe('Both output terminals carry signal'),
    measured_loaded: z
      .boolean()
      .default(false)
      .describe('Its load stays on while it is measured: only where amplifier and load are rated for a steady tone'),
  })
  .superRefine(({ rated_w, load_ohm, sensitivity_vrms: range }, context) => {
    const volts = Math.sqrt(rated_w * load_ohm)
    if (volts > OUTPUT_VRMS_MAX) {
      complain(
        context,
        ['rated_w'],
        `${rated_w} W into ${load_ohm} Ω would be ${volts.toFixed(0)} V, more than an amplifier of a vehicle swings`,
        `Allowed: up to ${OUTPUT_VRMS_MAX} V, √(rated_w × load_ohm); give the power that is rated for this load.`,
      )
    }
    if (range && range.min >= range.max) {
      const what = `min is ${range.min}, not below max ${range.max}`
      complain(context, ['sensitivity_vrms', 'min'], what, 'Allowed: min below max; min is the gain fully up.')
    }
  })

export const Amplifiers = z.array(Amplifier).max(32)

const volumeField = countField(0, VOLUME_MAX)

export const Gains = z.strictObject({
  volume_steps: z
    .array(volumeField)
    .max(16)
    .default([])
    .describe('Volumes at which the head unit is tried; the reference volume alone if left out'),
  volume_min: volumeField.optional().describe('The head unit has to be clean up to this volume at least'),
  thd_pct_max: numberField(0.005, 10)
    .optional()
    .describe('Distortion from which an output counts as clipped (%); as in limits if left out'),
  tolerance_db: numberField(0.1, 3)
    .default(0.5)
    .describe("How far the voltage at an amplifier's terminals may be off, either way (dB)"),
  amplifier_input: z
    .strictObject({
      input: countField(1, 64).describe('Rig input on which the terminals can be captured'),
      pad_db: numberField(6, 60).describe("Attenuator between terminals and that input's lead, floating (dB)"),
    })
    .optional()
    .describe('An attenuated input at the amplifier terminals, to see clipping; leave out for none'),
})

interface GainsFile {
  readonly amplifiers: z.infer<typeof Amplifiers>
  readonly gains: z.infer<typeof Gains>
  readonly outputs: readonly { readonly number: number }[]
  readonly volume_step?: number | undefined
}

export function checkGains(file: GainsFile, context: Parameters<typeof complain>[0]): void {
  const { amplifiers, gains, outputs, volume_step } = file
  const numbers = outputs.map(({ number }) => number)
  amplifiers.forEach(({ name, outputs: fed }, index) => {
    const isSame = (other: { readonly name: string }): boolean => other.name.toLowerCase() === name.toLowerCase()
    if (amplifiers.findIndex(isSame) < index) {
      complain(
        context,
        ['amplifiers', index, 'name'],
        `name "${name}" is given twice`,
        'Give each channel its own name.',
      )
    }
    fed.forEach((number, place) => {
      const path = ['amplifiers', index, 'outputs', place]
      if (!numbers.includes(number)) {
        complain(context, path, `the map has no output ${number}`, `Name outputs of the map: ${numbers.join(', ')}.`)
      } else if (fed.indexOf(number) < place) {
        complain(context, path, `output ${number} is given twice`, 'Name each output once.')
      }
    })
  })
  const { volume_steps, volume_min } = gains
  if (volume_steps.length > 0 && volume_step === undefined) {
    const remedy = "Add it: what the head unit's volume reads at the reference take."
    complain(context, ['gains', 'volume_steps'], 'volume_steps are given, and volume_step is missing', remedy)
  }
  if (volume_min !== undefined && volume_min > Math.max(volume_step ?? -1, ...volume_steps)) {
    const remedy = 'Allowed: up to the highest of volume_steps.'
    complain(context, ['gains', 'volume_min'], `volume_min ${volume_min} is above all volumes that are tried`, remedy)
  }
}

export const amplifiersOf = ({ amplifiers }: GainsFile): AmplifierSpec[] =>
  amplifiers.map((file) => ({
    name: file.name,
    outputs: file.outputs,
    ratedW: file.rated_w,
    loadOhm: file.load_ohm,
    sensitivityVrms: file.sensitivity_vrms ?? null,
    overlapDb: file.overlap_db,
    isBridged: file.bridged,
    isLoaded: file.measured_loaded,
  }))

export const gainsOf = ({ gains }: GainsFile): GainsSpec => ({
  volumeSteps: [...new Set(gains.volume_steps)].sort((a, b) => a - b),
  volumeMin: gains.volume_min ?? null,
  thdPctMax: gains.thd_pct_max ?? null,
  toleranceDb: gains.tolerance_db,
  terminalInput: gains.amplifier_input
    ? { inputNumber: gains.amplifier_input.input, padDb: gains.amplifier_input.pad_db }
    : null,
})
