/**
 * Frames of characters and flags: sign, four digits, space, place of the point, four bytes of flags, bar graph, CR, LF.
 *
 * From memory: as the FS9922-DMM3 and -DMM4 and their like send them at 2400 baud, 8 data bits, no parity. "?0:?" in place of
 * the digits is overload. The point: 0 none, 1 behind the first digit, 2 behind the second, 4 behind the third.
 */
import type { Decoder } from './feed.js'
import { type Display, displayOf, type Sign } from './frame-14.js'
import { FRAME_BYTE_COUNT } from './frame-segments.js'

/** Decimals by the character that stands for the place of the point. */
export const DECIMALS_OF_POINT: ReadonlyMap<string, number> = new Map([
  ['0', 0],
  ['1', 3],
  ['2', 2],
  ['4', 1],
])

/** Signs of bytes 7 to 10 (counted from 0), highest bit first; null tells nothing about the reading. */
export const SIGNS_OF_FLAGS: readonly (readonly (Sign | null)[])[] = [
  [null, null, null, 'DC', 'AC', 'relative', 'hold', null], // bit 5: automatic range, bit 0: bar graph
  [null, null, 'extreme', 'extreme', null, 'battery', 'n', null], // maximum, minimum; bit 3: switches itself off
  ['µ', 'm', 'k', 'M', 'beep', 'diode', '%', null],
  ['V', 'A', 'Ω', 'hFE', 'Hz', 'F', '°', '°'],
]
const FLAGS_FROM = 7
const [CR, LF] = [13, 10]

export class CharacterFrames implements Decoder<Display> {
  /** The last bytes, with the end of the frame before: a byte put in on the way must not become the sign. */
  private bytes: number[] = [LF]
  /** Bytes since the question that belong to no whole frame. */
  strayCount = 0

  push(bytes: Uint8Array): Display[] {
    const displays: Display[] = []
    for (const byte of bytes) {
      this.bytes = [...this.bytes.slice(-FRAME_BYTE_COUNT), byte]
      this.strayCount++
      // A flag may look like a line end, so the whole shape has to fit.
      const isWhole = this.bytes.length > FRAME_BYTE_COUNT && byte === LF && this.bytes.at(-2) === CR
      const display = isWhole && this.bytes[0] === LF ? displayOfCharacters(this.bytes.slice(1)) : null
      if (display === null) continue
      this.strayCount = 0
      displays.push(display)
    }
    return displays
  }

  startOver(): void {
    // A frame that has begun shows what was before the question.
    this.bytes = this.bytes.at(-1) === LF ? [LF] : []
    this.strayCount = 0
  }
}

function displayOfCharacters(bytes: readonly number[]): Display | null {
  const text = String.fromCharCode(...bytes.slice(0, FLAGS_FROM))
  const match = /^([+-])(\d{4}|\?0:\?) ([0-4])$/.exec(text)
  if (!match) return null
  const decimals = DECIMALS_OF_POINT.get(match[3])
  if (decimals === undefined) return null
  const signs = new Set<Sign>()
  SIGNS_OF_FLAGS.forEach((names, index) => {
    names.forEach((name, bit) => {
      if (name !== null && bytes[FLAGS_FROM + index] & (0x80 >> bit)) signs.add(name)
    })
  })
  return displayOf(match[2].startsWith('?') ? 'overload' : Number(match[2]), decimals, match[1] === '-', signs)
}
