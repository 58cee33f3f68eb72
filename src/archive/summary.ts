/**
 * What the archive asks of a run, taken out of its result into a small file of its own: a result holds curves and is a
 * hundred times as large, and nobody waits for all results to be read when an index is made.
 */
import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { z } from 'zod'
import { FINDING_KINDS, Verdict } from '../verdict/parts.js'
import type { Result } from '../verdict/result.js'

export const SUMMARY_FILE = 'summary.json'
export const SUMMARY_VERSION = 1

const text = z.string().nullable()

export const RunSummary = z.object({
  format: z.literal('linetrue-summary'),
  version: z.literal(SUMMARY_VERSION),
  resultVersion: z.number().int(),
  program: text,
  startedAt: text,
  verdict: Verdict.nullable().describe('null: the result does not tell, or in a way that this program does not know'),
  summary: text,
  isSimulated: z.boolean(),
  retestOf: text,
  job: z.object({
    name: text,
    platform: text,
    vehicle: text,
    vin: text,
    plate: text,
    jobNumber: text,
    technician: text,
    customer: text,
  }),
  outputs: z.array(z.object({ number: z.number().int(), label: z.string() })),
  findings: z.array(
    z.object({ kind: z.enum(FINDING_KINDS), verdict: Verdict, outputs: z.array(z.number().int()), title: z.string() }),
  ),
})
export type RunSummary = z.infer<typeof RunSummary>

export const findingsOf = ({ findings, stages }: Result): Result['findings'] => [
  ...findings,
  ...stages.flatMap((stage) => stage.findings),
]

export const summaryOf = (result: Result): RunSummary => ({
  format: 'linetrue-summary',
  version: SUMMARY_VERSION,
  resultVersion: result.version,
  program: result.program,
  startedAt: result.startedAt,
  verdict: result.verdict,
  summary: result.summary,
  isSimulated: result.isSimulated,
  retestOf: result.retestOf,
  job: {
    name: result.job.name,
    platform: result.job.platform,
    vehicle: result.job.vehicle,
    vin: result.job.vin,
    plate: result.job.plate,
    jobNumber: result.job.jobNumber,
    technician: result.job.technician,
    customer: result.job.customer,
  },
  outputs: result.outputs.map(({ number, label }) => ({ number, label })),
  findings: findingsOf(result).map(({ kind, verdict, outputs, title }) => ({ kind, verdict, outputs, title })),
})

export const summaryText = (summary: RunSummary): string => `${JSON.stringify(summary)}\n`

/** @returns null where there is none, or it cannot be understood: the result tells the same */
export function readSummary(folder: string): RunSummary | null {
  try {
    return RunSummary.parse(JSON.parse(readFileSync(join(folder, SUMMARY_FILE), 'utf8')))
  } catch {
    return null
  }
}
