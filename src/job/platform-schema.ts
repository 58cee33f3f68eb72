/** The file of a platform's map as a schema, and from its text to checked data. Values stand in it as in a job's channel map. */
import { z } from 'zod'
import { complain, countField, numberField, textField } from '../document/fields.js'
import { readDocument } from '../document/read.js'
import { dbFromRatio } from '../units/level.js'
import { FADER_FROM, type LearnedCorner, MAP_VERDICTS, type MapOutput, type PlatformMap } from './platform.js'
import { OUTPUT_COUNT_MAX } from './schema.js'

const share = numberField(-1, 1)
const size = numberField(0, 1000)

const learned = (unit: string) =>
  z.strictObject({
    u: size.describe(`Expanded uncertainty, k = 2 (${unit})`),
    tolerance: size.describe(`How far another good vehicle may be off, either way (${unit})`),
    spread: size.optional().describe(`Standard deviation from vehicle to vehicle (${unit}); left out for one vehicle`),
  })

const corner = learned('%').extend({
  slope_db_per_octave: numberField(0, 200).optional().describe('Far out; left out where it could not be read'),
})

const Output = z
  .strictObject({
    number: countField(1, 99).describe('Number of the output'),
    label: textField(40).describe('What the output feeds'),
    left: share.describe('Share of the left source side that it hears; the sizes of left and right add up to 1'),
    right: share.describe('Share of the right source side that it hears'),
    band: z
      .strictObject({
        low_hz: numberField(10, 22_000).optional().describe('Lower corner frequency (Hz); left out for none'),
        high_hz: numberField(10, 22_000).optional().describe('Upper corner frequency (Hz); left out for none'),
        shape: z
          .enum(['butterworth', 'linkwitz_riley'])
          .default('butterworth')
          .describe('Corners are at -3 dB for butterworth, at -6 dB for linkwitz_riley'),
      })
      .prefault({})
      .describe('Band that it carries; left out for full range'),
    level_vrms: numberField(1e-4, 100).describe(
      'Level at reference_hz for a full-scale (0 dBFS) sine on a side that it hears with gain 1 (V rms)',
    ),
    reference_hz: numberField(10, 22_000).describe('Where level was read (Hz)'),
    polarity: z
      .enum(['normal', 'inverted', 'unknown'])
      .describe('Against most of the outputs; unknown where it could not be told'),
    fader: z.enum(['front', 'rear', 'none']).default('none').describe("Which end of the head unit's fader moves it"),
    delay_ms: numberField(0, 1000).optional().describe('Delay against the earliest output of its group (ms)'),
    pair: textField(40).optional().describe('Name shared by two outputs that belong together'),
    learned: z
      .strictObject({
        sides: learned('share'),
        level_db: learned('dB'),
        low_pct: corner.optional(),
        high_pct: corner.optional(),
        delay_ms: learned('ms').optional(),
        delay_group: countField(1, 99)
          .default(1)
          .describe('Only delays of one group compare: they were taken together'),
        fader: z.enum(FADER_FROM).describe('Where the fader group comes from'),
      })
      .describe('What is known of each value'),
  })
  .superRefine(({ left, right, band, learned: known, delay_ms }, context) => {
    const sum = Math.abs(left) + Math.abs(right)
    if (Math.abs(sum - 1) > 0.01) {
      const remedy = 'Give shares whose sizes add up to 1, such as 1 and 0, or 0.5 and 0.5.'
      complain(context, ['left'], `left and right add up to ${Number(sum.toFixed(3))}`, remedy)
    }
    const pairs = [
      ['low_pct', band.low_hz, known.low_pct, 'band: low_hz'],
      ['high_pct', band.high_hz, known.high_pct, 'band: high_hz'],
      ['delay_ms', delay_ms, known.delay_ms, 'delay_ms'],
    ] as const
    for (const [name, value, about, of] of pairs) {
      if ((value === undefined) === (about === undefined)) continue
      const what = value === undefined ? `${name} is there without ${of}` : `${of} is there without learned: ${name}`
      complain(context, ['learned'], what, 'Give both, or neither.')
    }
    const { low_hz = 0, high_hz = Number.POSITIVE_INFINITY } = band
    if (low_hz >= high_hz) {
      complain(context, ['band'], `low_hz is ${low_hz}, not below high_hz ${high_hz}`, 'Allowed: low_hz below high_hz.')
    }
  })

export const MapFile = z.strictObject({
  platform: textField(80).describe('Name shared by all vehicles that have this channel map'),
  vehicles: z
    .array(
      z.strictObject({
        run: textField(400).describe('Run folder or recordings that it was learned from'),
        date: textField(40).describe('When they were made (ISO 8601)'),
        vehicle: textField(200).describe('Which vehicle it was'),
        verdict: z.enum(MAP_VERDICTS).describe('Of the run'),
      }),
    )
    .min(1)
    .max(999)
    .describe('What the map was learned from'),
  notes: z.array(textField(400)).max(99).default([]).describe('What a reader should know'),
  outputs: z
    .array(Output)
    .min(1)
    .max(OUTPUT_COUNT_MAX)
    .superRefine((outputs, context) => {
      outputs.forEach(({ number, label }, index) => {
        const earlier = outputs.slice(0, index)
        if (earlier.some((other) => other.number === number)) {
          complain(
            context,
            [index, 'number'],
            `number ${number} is given twice`,
            'Give each output a number of its own.',
          )
        }
        if (earlier.some((other) => other.label.toLowerCase() === label.toLowerCase())) {
          complain(context, [index, 'label'], `label "${label}" is given twice`, 'Give each output a label of its own.')
        }
      })
    })
    .describe('The channel map: one entry for each output of the interface'),
})
export type MapFile = z.infer<typeof MapFile>

/**
 * @param fileName as the person named it, for messages
 * @throws StopError naming the line, the field, what was found and what is allowed
 */
export function parseMap(text: string, fileName: string): PlatformMap {
  const { platform, vehicles, notes, outputs } = readDocument(MapFile, text, fileName)
  return { platform, vehicles, notes, outputs: outputs.map(outputOf) }
}

function outputOf(file: MapFile['outputs'][number]): MapOutput {
  const { number, label, left, right, band, level_vrms, reference_hz, polarity, fader, delay_ms, pair, learned } = file
  const cornerOf = (hz: number | undefined, about: typeof learned.low_pct): LearnedCorner | null =>
    hz === undefined || about === undefined
      ? null
      : { ...knownOf(hz, about), slopeDbPerOctave: about.slope_db_per_octave ?? null }
  return {
    number,
    label,
    left,
    right,
    share: knownOf(Math.min(Math.abs(left), Math.abs(right)), learned.sides),
    low: cornerOf(band.low_hz, learned.low_pct),
    high: cornerOf(band.high_hz, learned.high_pct),
    shape: band.shape,
    levelDbv: knownOf(dbFromRatio(level_vrms), learned.level_db),
    referenceHz: reference_hz,
    polarity: polarity === 'unknown' ? null : polarity === 'normal' ? 1 : -1,
    fader,
    faderFrom: learned.fader,
    delay: delay_ms === undefined || !learned.delay_ms ? null : knownOf(delay_ms / 1000, learned.delay_ms, 1000),
    delayGroup: learned.delay_group,
    pair: pair ?? null,
  }
}

/** @param divisor from the file's unit to that of the value */
const knownOf = (
  value: number,
  { u, tolerance, spread }: { u: number; tolerance: number; spread?: number | undefined },
  divisor = 1,
): PlatformMap['outputs'][number]['levelDbv'] => ({
  value,
  u: u / divisor,
  tolerance: tolerance / divisor,
  spread: spread === undefined ? null : spread / divisor,
})
