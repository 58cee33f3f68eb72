/**
 * A result for a terminal: the verdict, one table, what to do, and the verdict again.
 *
 * The end of the text is what stands on the screen when a run is over, so what to do comes last, and where it is longer
 * than a small screen the end names each fault once more. No line is wider than asked for, and colour only repeats what
 * a word or a mark says.
 */
import { BECAUSE_OF, type Check, type Finding } from '../verdict/parts.js'
import type { Result } from '../verdict/result.js'
import { allFindings } from './findings-part.js'
import { findingWord, quantityInWords, SIMULATED_WORDS, VERDICT_WORDS } from './format.js'
import { outputTable } from './output-table.js'
import { type Paint, paintFor } from './paint.js'
import { stageLinesOf } from './stage-list.js'
import { stageLines } from './stage-text.js'
import { STAGE_WORDS } from './stage-words.js'
import { broken, clean, cut, padded, widthOf, wrapped } from './text.js'

export interface TerminalOptions {
  readonly isColour: boolean
  /** Widest line in columns; less than 60 counts as 60. */
  readonly columnCount: number
  /** Where the written report lies; null if there is none. */
  readonly reportPath: string | null
}

const COLUMNS_MIN = 60
/** Text wider than this is hard to read. */
const PROSE_COLUMNS_MAX = 100
/** A verdict and the gap behind it; text hangs from here. */
const INDENT = 8
/** Rows of the smallest usual terminal, less the prompt. */
const SCREEN_ROWS = 23
/** They were all said before the run; the first ones are worth saying again. */
const RIG_NOTES_MAX = 2
/** Lines that the verdict, the path and the gaps at the end take. */
const TAIL_ROWS = 6

export function terminalReport(result: Result, options: TerminalOptions): string {
  const columnCount = Math.max(COLUMNS_MIN, Math.floor(options.columnCount))
  const proseColumns = Math.min(columnCount, PROSE_COLUMNS_MAX)
  const paint = paintFor(options.isColour)
  const all = allFindings(result)
  const findings = all.flatMap((finding) => ['', ...findingLines(finding, proseColumns, paint)])
  // A run of outputs alone has said it in its first line.
  const outputs = stageLinesOf(result).find(({ stage }) => stage === 'outputs')
  const isTall = findings.length > SCREEN_ROWS - TAIL_ROWS
  return [
    ...headLines(result, proseColumns, paint),
    ...(outputs
      ? [
          '',
          ...hanging(
            VERDICT_WORDS[outputs.verdict],
            `${STAGE_WORDS.outputs}: ${outputs.says}`,
            proseColumns,
            (word) => paint.verdict(outputs.verdict, word),
            paint.strong,
          ),
        ]
      : []),
    ...(result.outputs.length === 0 ? [] : ['', ...outputTable(result.outputs, columnCount, paint)]),
    ...checkLines(result.checks, proseColumns, paint),
    ...warningLines(result, proseColumns),
    ...stageLines(result.stages, proseColumns, paint),
    ...findings,
    '',
    ...(isTall ? ['-'.repeat(proseColumns)] : []),
    ...verdictLines(result, proseColumns, paint),
    ...(isTall ? inShort(all, proseColumns) : []),
    ...(options.reportPath === null ? [] : pathLines(options.reportPath, columnCount)),
  ].join('\n')
}

const verdictLines = ({ verdict, summary }: Result, columnCount: number, paint: Paint): string[] =>
  hanging(VERDICT_WORDS[verdict], summary, columnCount, (word) => paint.verdict(verdict, word), paint.strong)

function headLines(result: Result, columnCount: number, paint: Paint): string[] {
  const { job, isSimulated } = result
  const vehicle = [
    job.vehicle,
    job.vin && `VIN ${job.vin}`,
    job.plate && `plate ${job.plate}`,
    job.jobNumber && `job ${job.jobNumber}`,
    job.name,
  ]
  return [
    ...verdictLines(result, columnCount, paint),
    ...hanging('', vehicle.filter(Boolean).join(' · '), columnCount),
    ...(isSimulated ? hanging('', SIMULATED_WORDS, columnCount, undefined, paint.strong) : []),
  ]
}

function findingLines({ verdict, title, because, next }: Finding, columnCount: number, paint: Paint): string[] {
  return [
    ...hanging(findingWord(verdict), title, columnCount, (word) => paint.verdict(verdict, word), paint.strong),
    ...hanging('', because, columnCount),
    ...hanging('  Next', next, columnCount),
  ]
}

/** One line for each thing that keeps the vehicle from a pass, as many as leave the verdict on the screen. */
function inShort(findings: readonly Finding[], columnCount: number): string[] {
  const open = findings.filter(({ verdict }) => verdict !== 'pass')
  const rows = SCREEN_ROWS - TAIL_ROWS
  const shown = open.length > rows ? open.slice(0, rows - 1) : open
  const rest = open.length - shown.length
  return [
    ...shown.map(({ verdict, title }) => padded(`  ${findingWord(verdict).toLowerCase()}`, INDENT + 2) + clean(title)),
    ...(rest > 0 ? [`${' '.repeat(INDENT + 2)}and ${rest} more`] : []),
    '  What to do about each stands above and in the report.',
  ].map((line) => cut(line, columnCount))
}

function checkLines(checks: readonly Check[], columnCount: number, paint: Paint): string[] {
  // A check that a finding accounts for would say the same twice; the report has it in its table.
  const open = checks.filter(({ verdict, why }) => verdict !== 'pass' && !why.startsWith(BECAUSE_OF))
  if (open.length === 0) return []
  return [
    '',
    ...open.flatMap(({ name, verdict, measured, expected, why }) =>
      hanging(
        VERDICT_WORDS[verdict],
        `${quantityInWords(name)}: ${measured}; expected ${expected}. ${why}`,
        columnCount,
        (word) => paint.verdict(verdict, word),
      ),
    ),
  ]
}

/** What the job and the rig have to say before anything was played. */
function warningLines({ job, rig }: Result, columnCount: number): string[] {
  const more = rig.notes.length - RIG_NOTES_MAX
  const notes = [
    ...job.warnings,
    ...rig.notes.slice(0, RIG_NOTES_MAX),
    ...(more > 0 ? [`${more} more note${more === 1 ? '' : 's'} on the rig in the report.`] : []),
  ]
  if (notes.length === 0) return []
  return ['', ...notes.flatMap((says) => hanging('note', says, columnCount))]
}

/** The path is there to be copied, so it is broken only where it is longer than a line. */
function pathLines(path: string, columnCount: number): string[] {
  const shown = clean(path)
  const isShort = widthOf(shown) <= columnCount - INDENT
  return isShort ? [padded('Report', INDENT) + shown] : ['Report', ...broken(shown, columnCount)]
}

/** A word in the margin and text that hangs beside it. Styles come last, so that they never count as width. */
export function hanging(
  word: string,
  text: string,
  columnCount: number,
  styleWord: (word: string) => string = (plainText) => plainText,
  styleText: (text: string) => string = (plainText) => plainText,
): string[] {
  return wrapped(clean(text), columnCount - INDENT).map((line, i) => {
    const margin = i === 0 ? styleWord(padded(word, INDENT)) : ' '.repeat(INDENT)
    return margin + styleText(line)
  })
}
