/** linetrue archive compare A B. Ends with 1 where a figure has changed. */
import { type ComparedFigure, compareResults } from '../archive/compare.js'
import { keyOf } from '../archive/index-tables.js'
import { readResult } from '../archive/read-result.js'
import { DOUBT_WORDS, resultDoubt } from '../archive/seal.js'
import { findingsOf } from '../archive/summary.js'
import { comparisonText } from '../report/archive-compare-text.js'
import { shownPath } from '../report/archive-text.js'
import { timeInWords } from '../report/format.js'
import { StopError } from '../units/stop.js'
import type { Result } from '../verdict/result.js'
import { pathInArchive, runNamed, textOptions } from './archive-open.js'
import type { QueryOptions } from './archive-query.js'
import { EXIT } from './exit.js'
import { shown } from './files.js'

export async function compareCommand(
  nameA: string,
  nameB: string,
  options: QueryOptions & { all?: boolean },
  signal: AbortSignal,
): Promise<number> {
  const [a, b] = [await wholeRun(nameA, options, signal), await wholeRun(nameB, options, signal)]
  const figures = compareResults(a.result, b.result)
  const titles = {
    a: titleOf(a),
    b: titleOf(b),
    word: 'changed',
    notes: differences(a.result, b.result),
    isAll: options.all === true,
  }
  const doubts = [await resultDoubt(a.folder), await resultDoubt(b.folder)]
  const doubtLines = doubts.flatMap((doubt, k) => (doubt === null ? [] : [`${'AB'[k]}: ${DOUBT_WORDS[doubt]}`]))
  for (const line of [...doubtLines, ...movedFindings(a.result, b.result)]) process.stdout.write(`${shownPath(line)}\n`)
  process.stdout.write(`${comparisonText(figures, titles, textOptions())}\n`)
  return doubts.includes('changed') ? EXIT.fail : anyChanged(figures)
}

export const anyChanged = (figures: readonly ComparedFigure[]): number =>
  figures.some(({ change }) => change === 'changed') ? EXIT.fail : EXIT.pass

export interface WholeRun {
  readonly folder: string
  readonly result: Result
}

/** @throws StopError when there is no such run, or its result cannot be read */
export async function wholeRun(name: string, options: QueryOptions, signal: AbortSignal): Promise<WholeRun> {
  const folder = await runNamed(name, options, signal)
  const { result, why } = await readResult(folder)
  if (result === null) throw new StopError(why, shown(folder), 'See what there is: linetrue archive show.')
  return { folder, result }
}

export const titleOf = ({ folder, result }: WholeRun): string =>
  `${pathInArchive(folder)} · ${timeInWords(result.startedAt)} · ${result.job.vehicle}`

/** Verdicts, and which findings went and came: what a reader wants to know first. */
function movedFindings(a: Result, b: Result): string[] {
  const [inA, inB] = [a, b].map((result) =>
    findingsOf(result)
      .filter(({ verdict }) => verdict !== 'pass')
      // The same fault at another value is the same fault.
      .map(({ kind, outputs, title }) => ({ key: `${kind} ${outputs.join()}`, title })),
  )
  const lacks = (all: typeof inA, { key }: (typeof inA)[number]): boolean => !all.some((other) => other.key === key)
  const gone = inA.filter((one) => lacks(inB, one))
  const come = inB.filter((one) => lacks(inA, one))
  return [
    `Verdict  ${a.verdict.toUpperCase()} in A, ${b.verdict.toUpperCase()} in B`,
    ...gone.map(({ title }) => `  gone   ${title}`),
    ...come.map(({ title }) => `  new    ${title}`),
    ...(inA.length > gone.length ? [`  still  ${inA.length - gone.length} of the findings of A`] : []),
    '',
  ]
}

/** What a reader should know before the figures. */
function differences(a: Result, b: Result): string[] {
  const says: string[] = []
  const [vinA, vinB] = [a.job.vin, b.job.vin]
  if (vinA && vinB && keyOf(vinA) !== keyOf(vinB)) says.push('These are two vehicles: their VINs differ.')
  if (a.isSimulated !== b.isSimulated) says.push('One of them is simulated.')
  for (const { number, label } of a.outputs) {
    const other = b.outputs.find((output) => output.number === number)
    if (other && other.label !== label) says.push(`Output ${number} is ${label} in A and ${other.label} in B.`)
  }
  return says
}
