/** IEC 60757, letter codes of wire colours, each with its word. Two colours are two codes in a row: BKRD, black with red. */
export const COLOUR_CODES: Readonly<Record<string, string>> = {
  BK: 'black',
  BN: 'brown',
  RD: 'red',
  OG: 'orange',
  YE: 'yellow',
  GN: 'green',
  BU: 'blue',
  VT: 'violet',
  GY: 'grey',
  WH: 'white',
  PK: 'pink',
  GD: 'gold',
  TQ: 'turquoise',
  SR: 'silver',
}

const CODE_COUNT_MAX = 3

/**
 * Letter codes of one wire, first colour first.
 *
 * @param text BK, BKRD, BK RD, bk/rd or BK-RD
 * @returns null where it is no such code
 */
export function colourCodes(text: string): readonly string[] | null {
  const letters = text.toUpperCase().replace(/[\s/-]+/g, '')
  const codes = letters.match(/../g) ?? []
  const isGood = letters.length % 2 === 0 && codes.length >= 1 && codes.length <= CODE_COUNT_MAX
  return isGood && codes.every((code) => code in COLOUR_CODES) ? codes : null
}

/** BKRD (black, red). */
export const colourWords = (code: string): string =>
  `${code} (${(colourCodes(code) ?? []).map((one) => COLOUR_CODES[one]).join(', ')})`
