/**
 * What a stage of a job leaves: checks, findings, and what people read of it as tables and plots, so that a view needs to
 * know nothing of any single stage. The stage `outputs` is the result's own: its outputs, checks and findings.
 */
import { z } from 'zod'
import { STAGES } from '../job/job.js'
import { Check, Figure, Finding, Verdict } from './parts.js'

export const Stage = z.enum(STAGES)

/** Something that was asked of a person before measuring. */
export const SettingAsked = z.object({
  name: z.string().describe('bass, treble, loudness, amplifier gains …'),
  asked: z.string().describe('How it has to be: at zero, off, down'),
  answer: z.string().describe('What the person said; "taken as done" where nobody was asked'),
})
export type SettingAsked = z.infer<typeof SettingAsked>

export const StageTable = z.object({
  caption: z.string(),
  head: z.array(z.string()).describe('Names of the columns, with units'),
  rows: z.array(
    z.object({ cells: z.array(z.string()), verdict: Verdict.nullable().describe('null: a row that is not judged') }),
  ),
})
export type StageTable = z.infer<typeof StageTable>

const Axis = z.object({
  says: z.string().describe('Quantity and unit: standby current (mA)'),
  scale: z.enum(['linear', 'log']),
})

export const StagePlot = z.object({
  caption: z.string(),
  alt: z.string().describe('What the plot shows, in a sentence, for those who do not see it'),
  x: Axis,
  y: Axis,
  series: z.array(
    z.object({
      name: z.string(),
      x: z.array(z.number()),
      y: z.array(z.number().nullable()).describe('null: a gap'),
    }),
  ),
  limits: z.array(z.object({ says: z.string(), y: z.number() })).describe('Horizontal lines'),
  marks: z.array(z.object({ says: z.string(), x: z.number() })).describe('Vertical lines: locked, asleep'),
})
export type StagePlot = z.infer<typeof StagePlot>

/** Settings that undo what was found, for the tuner's processor. Kinds, gain, frequency and Q: W3C Audio EQ Cookbook. */
export const Correction = z.object({
  of: z.string().describe('Output or sum: 3 front left high'),
  outputs: z.array(z.number().int()),
  sections: z.array(
    z.object({
      kind: z.enum(['peaking', 'low shelf', 'high shelf']),
      freqHz: z.number(),
      gainDb: z.number(),
      q: z.number(),
    }),
  ),
  leavesDb: z.number().describe('Largest deviation from flat that the settings leave, either way'),
})
export type Correction = z.infer<typeof Correction>

/** A capture that a stage made; its file lies in the run's folder. */
export const StageTake = z.object({
  what: z.string().describe('volume 24, chime seat belt'),
  source: z.string().describe('File name in the run folder'),
  sha256: z.string(),
  sampleRateHz: z.number(),
  inputCount: z.number().int(),
  durationS: z.number(),
  faults: z.array(z.string()),
})
export type StageTake = z.infer<typeof StageTake>

export const StageResult = z.object({
  stage: Stage,
  verdict: Verdict,
  summary: z.string().describe('One sentence: 11 of 12 pins are as the table says; pin A7 has no ground'),
  startedAt: z.string(),
  endedAt: z.string(),
  figures: z.array(Figure),
  checks: z.array(Check),
  findings: z.array(Finding),
  tables: z.array(StageTable),
  plots: z.array(StagePlot),
  corrections: z.array(Correction),
  takes: z.array(StageTake),
  notes: z.array(z.string()).describe('What a reader should know: a gap in the readings, a step left out'),
  cautions: z.array(z.string()),
})
export type StageResult = z.infer<typeof StageResult>
