/**
 * The result of a run as data: everything that a view shows, and nothing that a view has to work out.
 *
 * `linetrue schema result` prints this as a JSON Schema. A change that breaks readers raises RESULT_VERSION. A run of single
 * stages has no outputs, and its verdict is that of its stages.
 */
import { z } from 'zod'
import { Check, Figure, Finding, Verdict } from './parts.js'
import { Readings, SourceResult, SumResult } from './readings.js'
import { SettingAsked, StageResult } from './stage-result.js'

export const RESULT_VERSION = 3

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
  retestOf: z.string().nullable().describe('Folder name of the earlier run of the same vehicle that this one follows'),
  job: z.object({
    name: z.string(),
    platform: z.string().nullable().describe('Vehicles that share one channel map'),
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
  findings: z.array(Finding).describe('Of the outputs; each stage has its own'),
  settings: z.array(SettingAsked).describe('What was asked to be set before measuring, once for the run'),
  stages: z.array(StageResult).describe('The other stages of the job, in the order in which they were made'),
  cautions: z.array(z.string()),
})
export type Result = z.infer<typeof Result>
