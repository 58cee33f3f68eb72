/** Figures of runs for other programs: a row or an object for each figure, every digit kept. */
import { basename } from 'node:path'
import type { Result } from '../verdict/result.js'
import type { Cell } from './csv.js'
import { figuresOf } from './figures.js'

/** In an export that is to be handed on these are left out, with the names of job and folder, which people write theirs into. */
const PRIVATE = ['folder', 'job', 'technician', 'customer', 'vin', 'plate'] as const

const COLUMNS = [
  ...[
    'run',
    'folder',
    'started_at',
    'verdict',
    'simulated',
    'retest_of',
    'program',
    'platform',
    'vehicle',
    'job_number',
  ],
  ...['job', 'technician', 'customer', 'vin', 'plate', 'part', 'output', 'label', 'quantity', 'value', 'unit', 'u_k2'],
  ...['bound', 'freq_hz', 'method'],
] as const

const isKept = (name: string, isPrivate: boolean): boolean => !isPrivate || !PRIVATE.some((one) => one === name)

export const exportColumns = (isPrivate: boolean): string[] => COLUMNS.filter((name) => isKept(name, isPrivate))

/** @param path of the run, relative to the archive */
export function exportRows(path: string, result: Result, isPrivate: boolean): Cell[][] {
  const columns = exportColumns(isPrivate)
  return exportFigures(path, result).map((row) => columns.map((name) => row[name]))
}

/** One object for a run, with its figures in a list. */
export function exportRun(path: string, result: Result, isPrivate: boolean): Record<string, unknown> {
  const head = Object.entries(headOf(path, result)).filter(([name]) => isKept(name, isPrivate))
  return { ...Object.fromEntries(head), figures: figuresOf(result).map(figureOf) }
}

const exportFigures = (path: string, result: Result): Record<string, Cell>[] =>
  figuresOf(result).map((placed) => ({ ...headOf(path, result), ...figureOf(placed) }))

const headOf = (path: string, { job, ...result }: Result): Record<string, Cell> => ({
  run: basename(path),
  folder: path,
  started_at: result.startedAt,
  verdict: result.verdict,
  simulated: result.isSimulated,
  retest_of: result.retestOf === null ? null : basename(result.retestOf),
  program: result.program,
  platform: job.platform,
  vehicle: job.vehicle,
  job_number: job.jobNumber,
  job: job.name,
  technician: job.technician,
  customer: job.customer,
  vin: job.vin,
  plate: job.plate,
})

const figureOf = ({
  part,
  outputNumber,
  label,
  name,
  figure,
}: ReturnType<typeof figuresOf>[number]): Record<string, Cell> => ({
  part,
  output: outputNumber,
  label,
  quantity: name,
  value: figure.value,
  unit: figure.unit,
  u_k2: figure.u,
  bound: figure.isAtMost ? 'at most' : figure.isAtLeast ? 'at least' : '',
  freq_hz: figure.freqHz,
  method: figure.method,
})
