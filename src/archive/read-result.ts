/** Reads a result of this version, of the one before, and what can be told of any other. */
import { readFile } from 'node:fs/promises'
import { join } from 'node:path'
import { FINDING_KINDS, Verdict } from '../verdict/parts.js'
import { RESULT_VERSION, Result } from '../verdict/result.js'
import { RESULT_FILE } from './run-folder.js'
import { type RunSummary, SUMMARY_VERSION, summaryOf } from './summary.js'

/** Older ones than this are shown as far as they can be understood. */
const OLDEST_VERSION = 2

export interface ReadResult {
  /** The whole of it; null where that cannot be had. */
  readonly result: Result | null
  /** null where nothing of it can be understood. */
  readonly summary: RunSummary | null
  /** Why there is no result; empty where there is one. */
  readonly why: string
}

export async function readResult(folder: string): Promise<ReadResult> {
  const text = await readFile(join(folder, RESULT_FILE), 'utf8').catch((error: NodeJS.ErrnoException) => error)
  if (typeof text !== 'string') return unreadable(`${RESULT_FILE} cannot be read (${text.code})`)
  return parseResult(text)
}

export function parseResult(text: string): ReadResult {
  let data: unknown
  try {
    data = JSON.parse(text)
  } catch {
    return unreadable(`${RESULT_FILE} is not whole: it is no JSON`)
  }
  if (!isRecord(data) || data['format'] !== 'linetrue-result') return unreadable(`${RESULT_FILE} holds something else`)
  const { version } = data
  if (typeof version !== 'number') return unreadable(`${RESULT_FILE} names no version`)
  if (version > RESULT_VERSION || version < OLDEST_VERSION) {
    const age = version > RESULT_VERSION ? 'a newer' : 'an older'
    const why = `${RESULT_FILE} is of version ${version}, ${age} one: this program reads ${OLDEST_VERSION} and ${RESULT_VERSION}`
    return { result: null, summary: whatCanBeTold(data, version), why }
  }
  const parsed = Result.safeParse(version < RESULT_VERSION ? brought(data) : data)
  if (parsed.success)
    return { result: parsed.data, summary: { ...summaryOf(parsed.data), resultVersion: version }, why: '' }
  const { path, message } = parsed.error.issues[0]
  const why = `${RESULT_FILE} of version ${version} is not as it should be: ${path.join('.') || 'all of it'}: ${message}`
  return { result: null, summary: whatCanBeTold(data, version), why }
}

const unreadable = (why: string): ReadResult => ({ result: null, summary: null, why })

/** Version 2 knew no stages, and neither platform nor retest. */
const brought = (data: Record<string, unknown>): unknown => ({
  ...data,
  version: RESULT_VERSION,
  retestOf: null,
  settings: [],
  stages: [],
  job: isRecord(data['job']) ? { platform: null, ...data['job'] } : data['job'],
})

/** Name, date, verdict and whatever else stands where this program would look for it. */
function whatCanBeTold(data: Record<string, unknown>, version: number): RunSummary {
  const job = isRecord(data['job']) ? data['job'] : {}
  return {
    format: 'linetrue-summary',
    version: SUMMARY_VERSION,
    resultVersion: version,
    program: textIn(data['program']),
    startedAt: textIn(data['startedAt']),
    verdict: Verdict.safeParse(data['verdict']).data ?? null,
    summary: textIn(data['summary']),
    isSimulated: data['isSimulated'] === true,
    retestOf: textIn(data['retestOf']),
    job: {
      name: textIn(job['name']),
      platform: textIn(job['platform']),
      vehicle: textIn(job['vehicle']),
      vin: textIn(job['vin']),
      plate: textIn(job['plate']),
      jobNumber: textIn(job['jobNumber']),
      technician: textIn(job['technician']),
      customer: textIn(job['customer']),
    },
    outputs: recordsIn(data['outputs']).flatMap(({ number, label }) =>
      Number.isInteger(number) && typeof label === 'string' ? [{ number: number as number, label }] : [],
    ),
    findings: recordsIn(data['findings']).flatMap((finding) => {
      const kind = FINDING_KINDS.find((one) => one === finding['kind'])
      const verdict = Verdict.safeParse(finding['verdict']).data
      const title = textIn(finding['title'])
      return kind && verdict && title ? [{ kind, verdict, outputs: [], title }] : []
    }),
  }
}

const isRecord = (value: unknown): value is Record<string, unknown> =>
  typeof value === 'object' && value !== null && !Array.isArray(value)
const recordsIn = (value: unknown): Record<string, unknown>[] => (Array.isArray(value) ? value.filter(isRecord) : [])
const textIn = (value: unknown): string | null => (typeof value === 'string' ? value : null)
