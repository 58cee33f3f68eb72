/** Random numbers that are the same in every run: a seed in, a stream out. */

/**
 * Uniform numbers from 0 (included) to 1 (excluded), 32 bits each.
 * Source: the generator "mulberry32", public domain.
 */
export function uniformFrom(seed: number): () => number {
  let state = seed >>> 0
  return () => {
    state = (state + 0x6d2b79f5) >>> 0
    let mixed = Math.imul(state ^ (state >>> 15), state | 1)
    mixed ^= mixed + Math.imul(mixed ^ (mixed >>> 7), mixed | 61)
    return ((mixed ^ (mixed >>> 14)) >>> 0) / 2 ** 32
  }
}

/** Normal numbers, mean 0 and standard deviation 1 (Box and Muller, 1958). */
export function normalFrom(seed: number): () => number {
  const uniform = uniformFrom(seed)
  let spare: number | null = null
  return () => {
    if (spare !== null) {
      const value = spare
      spare = null
      return value
    }
    const radius = Math.sqrt(-2 * Math.log(1 - uniform()))
    const turn = 2 * Math.PI * uniform()
    spare = radius * Math.sin(turn)
    return radius * Math.cos(turn)
  }
}

/** White Gaussian noise of a given rms, 0 Hz to half the sampling rate. */
export function whiteNoise(count: number, rms: number, seed: number): Float64Array {
  const normal = normalFrom(seed)
  const out = new Float64Array(count)
  for (let n = 0; n < count; n++) out[n] = rms * normal()
  return out
}

/** White noise of uniform values: as flat, with fixed peaks, and quicker to make for whole takes. */
export function hiss(count: number, rms: number, seed: number): Float64Array {
  const uniform = uniformFrom(seed)
  const span = rms * Math.sqrt(12)
  const out = new Float64Array(count)
  for (let n = 0; n < count; n++) out[n] = span * (uniform() - 0.5)
  return out
}
