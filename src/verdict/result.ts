/**
 * The result of a run as data: everything that a view shows, and nothing that a view has to work out.
 *
 * `linetrue schema result` prints this as a JSON Schema. Numbers carry their unit in a field of their own, because a
 * figure's unit is part of the figure. A change that breaks readers raises RESULT_VERSION.
 */
import { z } from 'zod'
import { Readings, SourceResult, SumResult } from './readings.js'

export const RESULT_VERSION = 2

export const Verdict = z.enum(['pass', 'fail', 'unsure'])
export type Verdict = z.infer<typeof Verdict>

export const UNITS = ['V', 'dBV', 'dBV(A)', 'dBV(C)', 'dBFS', 'dB', 'dB/octave', '%', 's', 'Hz', 'ppm', ''] as const

/** One measured number. */
export const Figure = z.object({
  quantity: z.string().describe('What was measured: level, polarity, thd …'),
  value: z.number().nullable().describe('null where nothing could be read'),
  unit: z.enum(UNITS),
  u: z.number().nullable().describe('Expanded uncertainty (k = 2) in the same unit; null where it is not known'),
  budget: z
    .array(z.object({ source: z.string(), u: z.number().describe('Standard uncertainty in the same unit') }))
    .describe('What the uncertainty is made of; u is twice the root of the sum of squares (GUM)'),
  isAtMost: z.boolean().describe('The true value is this or less: the rig or the noise allows no lower reading'),
  isAtLeast: z.boolean().describe('The true value is this or more: the track or the rig allows no higher reading'),
  freqHz: z.number().nullable().describe('Where it was read, for figures that belong to a frequency'),
  method: z.string().describe('Name and version of the way it was measured'),
})
export type Figure = z.infer<typeof Figure>

/** How a check says that another finding accounts for it; a view may then leave it to that finding. */
export const BECAUSE_OF = 'Because of output'

/** A figure held against a limit. */
export const Check = z.object({
  name: z
    .string()
    .describe(
      'level, pair balance, polarity, identity, response, delay, thd, thd+n, noise, hum, crosstalk, intermodulation …',
    ),
  verdict: Verdict,
  figure: Figure.nullable(),
  expected: z.string().describe('What the job asks, in words with units: 1.00 V ± 1.0 dB'),
  measured: z.string().describe('What was found, in words with units'),
  why: z.string().describe('Why it is unsure or failed; empty for a pass'),
})
export type Check = z.infer<typeof Check>

export const FINDING_KINDS = [
  'dead',
  'weak',
  'strong',
  'volume',
  'swapped',
  'alike',
  'inverted',
  'summed',
  'band-split',
  'equalised',
  'noisy',
  'humming',
  'distorted',
  'leaking',
  'late',
  'unbalanced',
  'muting',
  'clipped capture',
  'tone control',
  'loudness',
  'whining',
  'interrupted',
  'limited',
  'time-variant',
  'lossy source',
  'sum',
  'rig',
] as const

export const Finding = z.object({
  kind: z.enum(FINDING_KINDS),
  verdict: Verdict.describe('fail: it is wrong. unsure: it could not be settled. pass: worth knowing, stops nothing'),
  outputs: z.array(z.number().int()).describe('Numbers of the outputs that it concerns'),
  title: z.string().describe('Short: Output 5 rear left is inverted'),
  because: z.string().describe('Why we think so, with figures'),
  next: z.string().describe('What to do next, as an instruction'),
})
export type Finding = z.infer<typeof Finding>

const curve = z.array(z.number().nullable())

/** One output of the channel map with all that was found on its lead. */
export const OutputResult = z.object({
  number: z.number().int(),
  label: z.string(),
  patch: z.string(),
  inputNumber: z.number().int(),
  verdict: Verdict,
  identifiedAs: z.number().int().nullable().describe('Number of the map entry that the signal fits best; null if dead'),
  figures: z.array(Figure),
  checks: z.array(Check),
  response: z
    .object({
      freqHz: z.array(z.number()),
      levelDb: curve.describe('Response to the sides it hears, dB re the reference frequency'),
      maskMinDb: curve.describe('Lower limit, null where there is none'),
      maskMaxDb: curve.describe('Upper limit, null where there is none'),
      referenceHz: z.number(),
    })
    .nullable(),
  noise: z
    .object({
      freqHz: z.array(z.number()),
      levelDbv: curve.describe('Noise with no signal, in third-octave bands, dBV'),
      lines: z.array(z.object({ freqHz: z.number(), levelDbv: z.number(), says: z.string() })),
    })
    .nullable(),
  readings: Readings.describe('Curves and lists beside the figures'),
})
export type OutputResult = z.infer<typeof OutputResult>

export const TakeResult = z.object({
  patch: z.string(),
  setting: z
    .union([
      z.enum(['reference', 'fader_front', 'engine_running']),
      z.templateLiteral(['volume_', z.number().int().min(0)]),
    ])
    .describe('How head unit and engine were set: reference, fader_front, engine_running, volume_ and its number'),
  source: z.string().describe('File name in the run folder, or the recording as it was named'),
  sha256: z.string(),
  sampleRateHz: z.number(),
  inputCount: z.number().int(),
  durationS: z.number(),
  trackStartS: z.number().describe('Where the track begins in the take'),
  clockOffsetPpm: z.number().describe('Capture clock against player clock'),
  matchPct: z.number().describe('How well the markers fit, 100 is perfect'),
  trackRevision: z.number().int(),
  trackCount: z.number().int().describe('How often the whole track is in the take'),
  trackNumber: z.number().int().describe('Which of them was measured, from 1'),
  clockDriftPpm: z.number().describe('By how much the clock offset grows from the first marker to the last'),
  faults: z.array(z.string()),
})
export type TakeResult = z.infer<typeof TakeResult>

export const Result = z.object({
  format: z.literal('linetrue-result'),
  version: z.literal(RESULT_VERSION),
  program: z.string().describe('Program version'),
  startedAt: z.string().describe('ISO 8601 with offset'),
  verdict: Verdict,
  summary: z.string().describe('One sentence: 2 of 10 outputs fail: 5 inverted, 7 dead'),
  isSimulated: z.boolean(),
  job: z.object({
    name: z.string(),
    vehicle: z.string().describe('Maker, model, year as one line'),
    vin: z.string().nullable(),
    plate: z.string().nullable(),
    jobNumber: z.string().nullable(),
    technician: z.string().nullable(),
    customer: z.string().nullable(),
    limitsProfile: z.string(),
    warnings: z.array(z.string()),
  }),
  rig: z.object({
    name: z.string(),
    capture: z.string(),
    player: z.string(),
    meter: z.string().nullable(),
    notes: z.array(z.string()).describe('What the calibration and the plan before the run had to say'),
    inputs: z.array(
      z.object({
        number: z.number().int(),
        fullScaleVrms: z.number(),
        padDb: z.number(),
        levelUncertaintyDb: z.number(),
        calibratedAt: z.string().nullable().describe('When its volts were held against a meter; null: never'),
        ownNoiseDbfs: z.number().nullable().describe('Its noise when shorted; null where it was never measured'),
      }),
    ),
  }),
  takes: z.array(TakeResult),
  checks: z.array(Check).describe('Checks of the rig and the whole vehicle'),
  outputs: z.array(OutputResult),
  sums: z.array(SumResult).describe('Electrical sums that the job asks for'),
  source: SourceResult.nullable().describe('What the path from player to head unit is; null where no output can tell'),
  findings: z.array(Finding),
  cautions: z.array(z.string()),
})
export type Result = z.infer<typeof Result>
