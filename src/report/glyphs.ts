/**
 * Which characters a TrueType font can draw, read from its `cmap` table (OpenType specification, formats 4 and 12), so that
 * a character without a glyph is replaced by a mark that is seen, and not lost.
 */

/** Stands for a character that the font does not have. */
const REPLACEMENT = '\ufffd'
/** Spaces that a font may lack; any other space says the same. */
const SPACES = /[\u2000-\u200a\u202f\u205f]/

/**
 * Code points with a glyph.
 * @throws RangeError when the font has no table of Unicode characters
 */
export function codePointsOf(font: Uint8Array): ReadonlySet<number> {
  const view = new DataView(font.buffer, font.byteOffset, font.byteLength)
  const cmap = tableAt(view, 'cmap')
  const found = new Set<number>()
  for (let i = 0; i < view.getUint16(cmap + 2); i++) {
    const at = cmap + view.getUint32(cmap + 8 + 8 * i)
    const format = view.getUint16(at)
    if (format === 12) addGroups(view, at, found)
    else if (format === 4) addSegments(view, at, found)
  }
  if (found.size === 0) throw new RangeError('the font has no table of Unicode characters')
  return found
}

function tableAt(view: DataView, name: string): number {
  for (let i = 0; i < view.getUint16(4); i++) {
    const at = 12 + 16 * i
    const tag = String.fromCharCode(...[0, 1, 2, 3].map((k) => view.getUint8(at + k)))
    if (tag === name) return view.getUint32(at + 8)
  }
  throw new RangeError(`the font has no table ${name}`)
}

/** Format 12: groups of start, end and first glyph. */
function addGroups(view: DataView, at: number, found: Set<number>): void {
  for (let i = 0; i < view.getUint32(at + 12); i++) {
    const group = at + 16 + 12 * i
    for (let code = view.getUint32(group); code <= view.getUint32(group + 4); code++) found.add(code)
  }
}

/** Format 4: segments of end, start, delta and offset; a code whose glyph is 0 is missing. */
function addSegments(view: DataView, at: number, found: Set<number>): void {
  const bytes = view.getUint16(at + 6)
  for (let i = 0; i < bytes; i += 2) {
    const end = view.getUint16(at + 14 + i)
    const start = view.getUint16(at + 16 + bytes + i)
    const delta = view.getUint16(at + 16 + 2 * bytes + i)
    const offsetAt = at + 16 + 3 * bytes + i
    const offset = view.getUint16(offsetAt)
    for (let code = start; code <= end && code < 0xffff; code++) {
      const glyph = offset === 0 ? code : view.getUint16(offsetAt + offset + 2 * (code - start))
      if (glyph !== 0 && ((glyph + delta) & 0xffff) !== 0) found.add(code)
    }
  }
}

/** The text with every character that the font lacks replaced by one that is seen. */
export const drawable = (text: string, codePoints: ReadonlySet<number>): string =>
  text.replace(/[^\n -~]/gu, (character) => {
    if (codePoints.has(character.codePointAt(0)!)) return character
    return SPACES.test(character) ? '\u00a0' : REPLACEMENT
  })
