/**
 * Seeded random numbers: the same seed gives the same vehicle and the same noise, on every machine.
 *
 * Generator: sfc32 of Chris Doty-Humphrey's PractRand (public domain): three words of state and a counter.
 */

/** A stream of random numbers, even from 0 (included) to 1 (excluded), in steps of 2^-32. */
export type Even = () => number

/**
 * The seed of one thing among many, so that each output and each take has a stream of its own.
 *
 * FNV-1a over the characters of the parts. Source: G. Fowler, L. C. Noll, K.-P. Vo (public domain).
 */
export function seedFor(seed: number, ...parts: readonly (string | number)[]): number {
  let hash = 0x811c9dc5
  for (const character of [seed, ...parts].join('\0')) {
    hash = Math.imul(hash ^ character.charCodeAt(0), 0x01000193)
  }
  return hash >>> 0
}

/** @param seed any whole number */
export function evenRandom(seed: number): Even {
  const next = words(seed)
  return () => (next() >>> 0) / 2 ** 32
}

/** A random number between two ends. */
export const between = (even: Even, min: number, max: number): number => min + (max - min) * even()

/** Random signed 32-bit words. */
function words(seed: number): () => number {
  let [a, b, c, counter] = [seed | 0, 0x9e3779b9 | 0, 0x243f6a88, 1]
  const next = (): number => {
    const word = (((a + b) | 0) + counter) | 0
    counter = (counter + 1) | 0
    a = b ^ (b >>> 9)
    b = (c + (c << 3)) | 0
    c = (((c << 21) | (c >>> 11)) + word) | 0
    return word
  }
  // The author's own seeding: the first twelve words only stir the state.
  for (let i = 0; i < 12; i++) next()
  return next
}

const LAYER_COUNT = 128
/** Where the tail begins, and the area of each layer. Source: Marsaglia and Tsang, table for 128 layers. */
const TAIL_START = 3.442619855899
const LAYER_AREA = 9.91256303526217e-3

const bell = (x: number): number => Math.exp(-0.5 * x * x)

/** Right edges of the layers; the first is that of the base layer with the tail folded in. */
const EDGES = ((): Float64Array => {
  const edges = new Float64Array(LAYER_COUNT + 1)
  edges[0] = LAYER_AREA / bell(TAIL_START)
  edges[1] = TAIL_START
  for (let i = 2; i < LAYER_COUNT; i++) {
    edges[i] = Math.sqrt(-2 * Math.log(LAYER_AREA / edges[i - 1] + bell(edges[i - 1])))
  }
  return edges
})()

/**
 * A stream of normally distributed numbers, mean 0, standard deviation 1.
 *
 * Source: G. Marsaglia, W. W. Tsang, The ziggurat method, J. Stat. Software 5(8), 2000. Layer and place in it come from
 * different bits of a word, which cures the correlation that J. A. Doornik (2005) found in the original.
 */
export function gaussian(seed: number): () => number {
  const next = words(seed)
  const even = (): number => ((next() >>> 0) + 0.5) / 2 ** 32
  return () => {
    for (;;) {
      const word = next()
      const layer = word & (LAYER_COUNT - 1)
      const value = ((word >> 7) / 2 ** 24) * EDGES[layer]
      const size = Math.abs(value)
      if (size < EDGES[layer + 1]) return value
      if (layer === 0) return value < 0 ? -tail(even) : tail(even)
      const [outer, inner] = [bell(EDGES[layer]), bell(EDGES[layer + 1])]
      if (outer + even() * (inner - outer) < bell(value)) return value
    }
  }
}

/** A number beyond the tail's start. Source: G. Marsaglia, Technometrics 6(1), 1964. */
function tail(even: Even): number {
  for (;;) {
    const beyond = -Math.log(even()) / TAIL_START
    if (-2 * Math.log(even()) >= beyond * beyond) return TAIL_START + beyond
  }
}
