/**
 * Frames that carry the segments of the display: 14 bytes, the high half of each its place 1 to 14, the low half four segments.
 *
 * From memory: as the FS9721_LP3 and its like send them at 2400 baud, 8 data bits, no parity. Digit n of 1 to 4 takes bytes
 * 2n and 2n + 1: in the first the lowest three bits are segments e f a (bits 6 5 4 of the digit), in the second d c g b (3 2 1 0);
 * the highest bit of the first is the minus sign for digit 1, else the point in front of the digit.
 */
import type { Decoder } from './feed.js'
import { type Display, displayOf, type Sign } from './frame-14.js'

export const FRAME_BYTE_COUNT = 14

/** Segments lit for 0 to 9: bit 6 e (lower left), 5 f (upper left), 4 a (top), 3 d (bottom), 2 c (lower right), 1 g (middle), 0 b. */
export const SEGMENTS_OF_DIGIT = [0x7d, 0x05, 0x5b, 0x1f, 0x27, 0x3e, 0x7e, 0x15, 0x7f, 0x3f] as const
export const SEGMENTS_OF_L = 0x68
const BLANK = 0

/** Signs of bytes 1 and 10 to 14, highest bit first; null tells nothing about the reading. */
export const SIGNS_OF_BYTE: Readonly<Record<number, readonly (Sign | null)[]>> = {
  1: ['AC', 'DC', null, null], // AC, DC, automatic range, data output
  10: ['µ', 'n', 'k', 'diode'],
  11: ['m', '%', 'M', 'beep'],
  12: ['F', 'Ω', 'relative', 'hold'],
  13: ['A', 'V', 'Hz', 'battery'],
  14: [null, null, '°', null],
}

export class SegmentFrames implements Decoder<Display> {
  private halves: number[] = []
  /** Bytes since the question that belong to no whole frame. */
  strayCount = 0

  push(bytes: Uint8Array): Display[] {
    const displays: Display[] = []
    for (const byte of bytes) {
      const place = byte >> 4
      this.strayCount++
      if (place !== this.halves.length + 1) {
        this.halves = []
        if (place !== 1) continue
      }
      this.halves.push(byte & 0x0f)
      if (this.halves.length < FRAME_BYTE_COUNT) continue
      const display = displayOfHalves(this.halves)
      this.halves = []
      if (display === null) continue
      this.strayCount = 0
      displays.push(display)
    }
    return displays
  }

  startOver(): void {
    // A frame that has begun shows what was before the question; its rest begins with no first byte.
    this.halves = []
    this.strayCount = 0
  }
}

/** @param halves low halves of bytes 1 to 14 */
function displayOfHalves(halves: readonly number[]): Display | null {
  const signs = new Set<Sign>()
  for (const [place, names] of Object.entries(SIGNS_OF_BYTE)) {
    names.forEach((name, index) => {
      if (name !== null && halves[Number(place) - 1] & (8 >> index)) signs.add(name)
    })
  }
  const shapes = [1, 3, 5, 7].map((index) => ((halves[index] & 7) << 4) | halves[index + 1])
  const points = [3, 5, 7].map((index) => (halves[index] & 8) !== 0)
  if (points.filter(Boolean).length > 1) return null
  const point = points.indexOf(true)
  const digits = digitsOf(shapes)
  if (digits === undefined) return null
  return displayOf(digits, point < 0 ? 0 : 3 - point, (halves[1] & 8) !== 0, signs)
}

/** @returns undefined for segments that no meter shows */
function digitsOf(shapes: readonly number[]): number | 'overload' | null | undefined {
  // Leading digits may be dark.
  const lit = shapes.slice(shapes.findIndex((shape) => shape !== BLANK))
  const digits = lit.map((shape) => (SEGMENTS_OF_DIGIT as readonly number[]).indexOf(shape))
  if (shapes.every((shape) => shape === BLANK)) return null
  if (digits.every((digit) => digit >= 0)) return Number(digits.join(''))
  // "0L" stands in the middle of the display, with the point where it happens to be.
  const isOverload = shapes.filter((shape) => shape !== BLANK).join() === [SEGMENTS_OF_DIGIT[0], SEGMENTS_OF_L].join()
  return isOverload ? 'overload' : undefined
}
