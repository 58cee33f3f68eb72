/**
 * Frames made from what a display shows, written from the description of the segments rather than from the decoder: a picture
 * of each digit in segments, and the place of each sign.
 */

/** Lit segments of each character: a top, b upper right, c lower right, d bottom, e lower left, f upper left, g middle. */
const PICTURES: Readonly<Record<string, string>> = {
  '0': 'abcdef',
  '1': 'bc',
  '2': 'abdeg',
  '3': 'abcdg',
  '4': 'bcfg',
  '5': 'acdfg',
  '6': 'acdefg',
  '7': 'abc',
  '8': 'abcdefg',
  '9': 'abcdfg',
  L: 'def',
  ' ': '',
}
/** The bits of a digit's two half bytes, from the highest: _ e f a, d c g b. */
const ORDER = ' efadcgb'

const SEGMENT_SIGNS: Readonly<Record<string, [place: number, bit: number]>> = {
  AC: [1, 8],
  DC: [1, 4],
  µ: [10, 8],
  n: [10, 4],
  k: [10, 2],
  diode: [10, 1],
  m: [11, 8],
  '%': [11, 4],
  M: [11, 2],
  beep: [11, 1],
  F: [12, 8],
  Ω: [12, 4],
  relative: [12, 2],
  hold: [12, 1],
  A: [13, 8],
  V: [13, 4],
  Hz: [13, 2],
  battery: [13, 1],
  '°': [14, 2],
}

/** @param text four characters with an optional minus in front and point between: '-1.234', ' 0L ' */
export function segmentFrame(text: string, ...signs: string[]): number[] {
  const halves = Array.from({ length: 15 }, () => 0)
  const isNegative = text.startsWith('-')
  const shown = text.replace('-', '')
  const characters = [...shown.replace('.', '')]
  characters.forEach((character, index) => {
    const bits = [...ORDER].map((segment) => (PICTURES[character].includes(segment) && segment !== ' ' ? 1 : 0))
    const byte = bits.reduce<number>((value, bit) => 2 * value + bit, 0)
    halves[2 * index + 2] |= byte >> 4
    halves[2 * index + 3] |= byte & 15
  })
  if (isNegative) halves[2] |= 8
  const point = shown.indexOf('.')
  if (point > 0) halves[2 * point + 2] |= 8
  for (const sign of signs) halves[SEGMENT_SIGNS[sign][0]] |= SEGMENT_SIGNS[sign][1]
  return halves.slice(1).map((half, index) => ((index + 1) << 4) | half)
}

const CHARACTER_SIGNS: Readonly<Record<string, [index: number, bit: number]>> = {
  DC: [7, 4],
  AC: [7, 3],
  relative: [7, 2],
  hold: [7, 1],
  maximum: [8, 5],
  minimum: [8, 4],
  battery: [8, 2],
  n: [8, 1],
  µ: [9, 7],
  m: [9, 6],
  k: [9, 5],
  M: [9, 4],
  beep: [9, 3],
  diode: [9, 2],
  '%': [9, 1],
  V: [10, 7],
  A: [10, 6],
  Ω: [10, 5],
  hFE: [10, 4],
  Hz: [10, 3],
  F: [10, 2],
  '°': [10, 1],
}

/** @param text '+1.234', '-123.4', or '+?0:?' for overload */
export function characterFrame(text: string, ...signs: string[]): number[] {
  const point = text.indexOf('.') - 1
  const place = { [-2]: '0', 1: '1', 2: '2', 3: '4' }[point]
  const bytes = [...`${text.replace('.', '')} ${place}`].map((character) => character.charCodeAt(0))
  const flags = [0, 0, 0, 0]
  for (const sign of signs) flags[CHARACTER_SIGNS[sign][0] - 7] |= 1 << CHARACTER_SIGNS[sign][1]
  return [...bytes, ...flags, 0, 13, 10]
}
