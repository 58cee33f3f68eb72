/**
 * Text as people see it: cleaned of what steers a terminal, measured in columns, wrapped, cut and padded.
 *
 * Widths are columns of a terminal: a wide character takes two, a combining mark none.
 */

const ESCAPE_SEQUENCES = /\u001b(?:\[[0-?]*[ -/]*[@-~]|\][^\u0007\u001b]*(?:\u0007|\u001b\\)?|[ -/]*[0-~])/g
/** Control characters, and those that turn the direction of writing or hide. */
const CONTROLS = /[\u0000-\u001f\u007f-\u009f\u061c\u200b\u200e\u200f\u2028-\u202e\u2060-\u206f\ufeff]+/g
const WIDE =
  /[\u1100-\u115f\u2e80-\u303e\u3041-\ua4cf\ua960-\ua97f\uac00-\ud7a3\uf900-\ufaff\ufe30-\ufe6f\uff01-\uff60\uffe0-\uffe6]|\p{Emoji_Presentation}|[\u{20000}-\u{3fffd}]/u
const ONLY_MARKS = /^\p{M}+$/u
const graphemes = new Intl.Segmenter('en', { granularity: 'grapheme' })

/** One line of plain text: names out of files go through here before a person sees them. */
export const clean = (text: string): string =>
  text
    .replace(ESCAPE_SEQUENCES, '')
    .replace(CONTROLS, ' ')
    .replace(/ {2,}/g, ' ')
    .replace(/\p{Surrogate}/gu, '\ufffd')
    .trim()

const graphemesOf = (text: string): string[] => Array.from(graphemes.segment(text), ({ segment }) => segment)

const widthOfGrapheme = (grapheme: string): number => (ONLY_MARKS.test(grapheme) ? 0 : WIDE.test(grapheme) ? 2 : 1)

/** Columns that a line takes. */
export const widthOf = (line: string): number =>
  graphemesOf(line).reduce((sum, grapheme) => sum + widthOfGrapheme(grapheme), 0)

/** A line that is no wider than it may be; what was cut off is shown by an ellipsis. */
export function cut(line: string, columnCount: number): string {
  if (widthOf(line) <= columnCount) return line
  if (columnCount < 1) return ''
  let [kept, used] = ['', 0]
  for (const grapheme of graphemesOf(line)) {
    used += widthOfGrapheme(grapheme)
    if (used > columnCount - 1) break
    kept += grapheme
  }
  return `${kept.trimEnd()}…`
}

export function padded(line: string, columnCount: number, side: 'left' | 'right' = 'left'): string {
  const space = ' '.repeat(Math.max(0, columnCount - widthOf(line)))
  return side === 'left' ? line + space : space + line
}

/** Lines of at most columnCount columns, broken anywhere. */
export function broken(text: string, columnCount: number): string[] {
  const lines = ['']
  for (const grapheme of graphemesOf(text)) {
    if (widthOf(lines.at(-1)! + grapheme) > columnCount) lines.push('')
    lines[lines.length - 1] += grapheme
  }
  return lines
}

/** Spaces that no line may end with: between a number and its unit, and behind ±. */
const HELD_SPACES = /(?<=±) (?=\d)|(?<=\d) (?=(?:m?V|µV|dBV?|k?Hz|%|m?s|ppm)(?![A-Za-z]))/g

/** The same text with those spaces as no-break spaces. */
export const held = (text: string): string => text.replace(HELD_SPACES, '\u00a0')

/** Lines of at most columnCount columns, broken between words, and inside a word only where it is longer than a line. */
export function wrapped(text: string, columnCount: number): string[] {
  const words = held(text)
    .split(' ')
    .flatMap((word) => (widthOf(word) > columnCount ? broken(word, columnCount) : [word]))
  const lines: string[] = []
  for (const word of words) {
    const last = lines.at(-1)
    const doesFit = last !== undefined && widthOf(last) + 1 + widthOf(word) <= columnCount
    if (doesFit) lines[lines.length - 1] = `${last} ${word}`
    else lines.push(word)
  }
  return lines.map((line) => line.replaceAll('\u00a0', ' '))
}
