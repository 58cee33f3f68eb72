/** What every result says of its run, whatever stages it has; and the result of a run whose job is more than its outputs. */
import type { Job } from '../job/job.js'
import type { Rig } from '../rig/rig.js'
import { listed } from '../units/words.js'
import { CAUTIONS } from '../verdict/cautions.js'
import { worst } from '../verdict/decision.js'
import { RESULT_VERSION, type Result } from '../verdict/result.js'
import type { SettingAsked, StageResult } from '../verdict/stage-result.js'

export interface RunFacts {
  readonly job: Job
  readonly rig: Rig
  readonly startedAt: string
  readonly program: string
  readonly isSimulated: boolean
  /** How the instruments call themselves. */
  readonly says: { readonly capture: string; readonly player: string; readonly meter: () => string | null }
  /** What calibration and plan had to say before the run. */
  readonly rigNotes: readonly string[]
  /** Folder name of the run that this one follows; null for a first one. */
  readonly retestOf: string | null
}

type Measured = 'verdict' | 'summary' | 'takes' | 'outputs' | 'checks' | 'findings' | 'sums' | 'source'

/** All that was not measured. */
export const frameOf = (facts: RunFacts): Omit<Result, Measured> => ({
  format: 'linetrue-result',
  version: RESULT_VERSION,
  program: facts.program,
  startedAt: facts.startedAt,
  isSimulated: facts.isSimulated,
  retestOf: facts.retestOf,
  job: jobSummary(facts.job),
  rig: {
    name: facts.rig.name,
    capture: facts.says.capture,
    player: facts.says.player,
    meter: facts.says.meter(),
    notes: [...facts.rigNotes],
    inputs: facts.rig.inputs.map(({ fullScaleVrms, padDb, levelUncertaintyDb, calibratedAt, own }, k) => ({
      number: k + 1,
      fullScaleVrms,
      padDb,
      levelUncertaintyDb,
      calibratedAt: calibratedAt ?? null,
      ownNoiseDbfs: own?.floor?.noiseDbfs ?? null,
    })),
  },
  settings: [],
  stages: [],
  cautions: [...CAUTIONS],
})

/** A run without its outputs. */
export const withoutOutputs = (facts: RunFacts): Result => ({
  ...frameOf(facts),
  verdict: 'pass',
  summary: '',
  takes: [],
  outputs: [],
  checks: [],
  findings: [],
  sums: [],
  source: null,
})

/**
 * The result of all stages.
 * @param whyLeft which stages of the job were not made, and why; null where all were
 */
export function withStages(
  result: Result,
  settings: readonly SettingAsked[],
  stages: readonly StageResult[],
  whyLeft: string | null,
): Result {
  const hasOutputs = result.outputs.length > 0
  const parts = [
    ...(hasOutputs ? [{ name: 'outputs', verdict: result.verdict, summary: result.summary }] : []),
    ...stages.map(({ stage, verdict, summary }) => ({ name: stage, verdict, summary })),
  ]
  const verdict = worst([...parts.map((part) => part.verdict), ...(whyLeft === null ? [] : (['unsure'] as const))])
  const summary = parts.length === 1 ? parts[0].summary : summaryOf(parts)
  return {
    ...result,
    verdict,
    summary,
    settings: [...settings],
    stages: [...stages],
    rig: { ...result.rig, notes: [...result.rig.notes, ...(whyLeft === null ? [] : [whyLeft])] },
  }
}

/** How many stages and which; what each found stands in its own sentence. */
function summaryOf(parts: readonly { name: string; verdict: Result['verdict'] }[]): string {
  const named = (wanted: Result['verdict']): string[] =>
    parts.filter(({ verdict }) => verdict === wanted).map(({ name }) => name)
  const [failed, unsure] = [named('fail'), named('unsure')]
  const count = parts.length
  return [
    failed.length + unsure.length === 0 ? `All ${count} stages pass.` : '',
    failed.length > 0
      ? `${failed.length} of ${count} stages ${failed.length === 1 ? 'fails' : 'fail'}: ${listed(failed)}.`
      : '',
    unsure.length > 0 ? `${unsure.length} of ${count} could not be settled: ${listed(unsure)}.` : '',
  ]
    .filter(Boolean)
    .join(' ')
}

function jobSummary(job: Job): Result['job'] {
  const { maker, model, year, vin, plate } = job.vehicle
  return {
    name: job.name,
    platform: job.platform,
    vehicle: [maker, model, year].filter((part) => part !== null).join(' '),
    vin,
    plate,
    jobNumber: job.jobNumber,
    technician: job.technician,
    customer: job.customer,
    limitsProfile: job.limits.profile,
    warnings: [...job.warnings],
  }
}
