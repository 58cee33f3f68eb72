/**
 * The stages of a job for a terminal: a line with the verdict of each, the rows of its tables that are no pass or that are
 * there to be worked from, and settings to type in. What is in order stays in the report.
 */
import { plain, signed } from '../units/words.js'
import type { Correction, StageResult, StageTable } from '../verdict/stage-result.js'
import { kindInWords, typedHz } from './equaliser-part.js'
import { VERDICT_WORDS } from './format.js'
import type { Paint } from './paint.js'
import { STAGE_WORDS } from './stage-words.js'
import { clean, padded, widthOf, wrapped } from './text.js'

/** A verdict and the gap behind it; everything else hangs from here. */
const INDENT = 8
const GAP = 2
/** More rows than this are read in the report. */
const ROWS_MAX = 16

export const stageLines = (stages: readonly StageResult[], columnCount: number, paint: Paint): string[] =>
  stages.flatMap((stage) => ['', ...oneStage(stage, columnCount, paint)])

function oneStage(stage: StageResult, columnCount: number, paint: Paint): string[] {
  const { verdict, summary, notes, tables, corrections } = stage
  const [first, ...more] = wrapped(clean(`${STAGE_WORDS[stage.stage]}: ${summary}`), columnCount - INDENT)
  const head = paint.verdict(verdict, padded(VERDICT_WORDS[verdict], INDENT)) + paint.strong(first)
  const typed = corrections.filter(({ sections }) => sections.length > 0)
  return [
    head,
    ...more.map((line) => hung(paint.strong(line))),
    ...notes.flatMap((says) => wrapped(`Note: ${clean(says)}`, columnCount - INDENT).map(hung)),
    ...tables.flatMap((table) => tableLines(table, columnCount, paint)),
    ...(typed.length === 0 ? [] : tableLines(correctionTable(typed), columnCount, paint)),
  ]
}

const hung = (line: string): string => ' '.repeat(INDENT) + line

const correctionTable = (corrections: readonly Correction[]): StageTable => ({
  caption: 'Type in',
  head: ['Type in for', 'Kind', 'Frequency', 'Gain', 'Q'],
  rows: corrections.flatMap(({ of, sections }) =>
    sections.map(({ kind, freqHz, gainDb, q }) => ({
      cells: [of, kindInWords(kind), typedHz(freqHz), `${signed(gainDb, 1)} dB`, plain(q, 2)],
      verdict: null,
    })),
  ),
})

/** Rows to act on under their headings; no cell is ever cut: where a line would be too long, each row is stacked. */
function tableLines({ head, rows }: StageTable, columnCount: number, paint: Paint): string[] {
  const wanted = rows.filter(({ verdict }) => verdict !== 'pass')
  if (wanted.length === 0) return []
  const shown = wanted.slice(0, ROWS_MAX)
  const lines = [head, ...shown.map(({ cells }) => head.map((_, at) => cells[at] ?? ''))].map((cells) =>
    cells.map(clean),
  )
  const widths = head.map((_, at) => lines.reduce((most, cells) => Math.max(most, widthOf(cells[at])), 1))
  const room = columnCount - INDENT
  const isWide = widths.reduce((a, b) => a + b, 0) + GAP * (head.length - 1) > room
  const joined = (cells: readonly string[]): string =>
    cells
      .map((cell, at) => padded(cell, widths[at]))
      .join(' '.repeat(GAP))
      .trimEnd()
  const rest = wanted.length - shown.length
  return [
    ...(isWide ? [] : [hung(paint.quiet(joined(lines[0])))]),
    ...lines.slice(1).flatMap((cells, i) => {
      const { verdict } = shown[i]
      const mark = verdict === null ? ' ' : verdict === 'fail' ? '!' : '?'
      return (isWide ? stacked(lines[0], cells, room) : [joined(cells)]).map((text, at) => {
        const line = `${' '.repeat(INDENT - 2)}${at === 0 ? mark : ' '} ${text}`
        return verdict === null ? line : paint.verdict(verdict, line)
      })
    }),
    ...(rest > 0 ? [hung(`and ${rest} more in the report`)] : []),
  ]
}

/** A row by itself: what it is about, and under it each value behind its heading. */
function stacked([first, ...head]: readonly string[], [name, ...cells]: readonly string[], room: number): string[] {
  const pairs = head.flatMap((heading, at) => (cells[at] === '' ? [] : [`${heading}: ${cells[at]}`]))
  // A value stays with its heading where both fit on a line.
  const lines: string[] = []
  for (const pair of pairs) {
    const last = lines.at(-1)
    if (last !== undefined && widthOf(last) + 3 + widthOf(pair) <= room - GAP)
      lines[lines.length - 1] = `${last} · ${pair}`
    else lines.push(...wrapped(pair, room - GAP))
  }
  return [...wrapped(`${first}: ${name}`, room), ...lines.map((line) => ' '.repeat(GAP) + line)]
}
