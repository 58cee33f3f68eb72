/**
 * Seeded dither with a triangular density (TPDF), two steps wide.
 *
 * It makes the error of rounding white, with a power of q²/4, and free of the signal up to its second moment.
 * Source: S. P. Lipshitz, R. A. Wannamaker, J. Vanderkooy, JAES 40(5), 1992.
 */

/**
 * A stream of dither values, in steps of the target word.
 *
 * @param seed any whole number; the same seed gives the same values
 * @returns next value, from above -1 to below 1
 */
export function tpdfDither(seed: number): () => number {
  // A 32-bit Weyl sequence through a mixing function (the finaliser of MurmurHash3): its 16-bit halves are two even draws.
  let state = seed >>> 0
  return () => {
    state = (state + 0x9e3779b9) >>> 0
    let mixed = state ^ (state >>> 16)
    mixed = Math.imul(mixed, 0x85ebca6b)
    mixed ^= mixed >>> 13
    mixed = Math.imul(mixed, 0xc2b2ae35)
    mixed ^= mixed >>> 16
    return ((mixed >>> 16) - (mixed & 0xffff)) / 0x10000
  }
}
