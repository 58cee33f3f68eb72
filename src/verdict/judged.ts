/** An output with its checks: what findings are made from. */
import type { Job } from '../job/job.js'
import type { OutputMeasures } from '../measure/outputs.js'
import type { Check, Verdict } from './parts.js'

export interface Judged {
  readonly measures: OutputMeasures
  readonly checks: readonly Check[]
}

export const nameOf = (measures: OutputMeasures, job: Job): string => {
  const { number, label } = job.outputs.find((spec) => spec.number === measures.lead.outputNumber)!
  return `Output ${number} ${label}`
}

export const verdictOf = (checks: readonly Check[], name: string): Verdict =>
  checks.find((check) => check.name === name)?.verdict ?? 'pass'
