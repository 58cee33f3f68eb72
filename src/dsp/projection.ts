/**
 * Sums of samples against a cosine and a sine of any frequency: one bin of a Fourier transform, wherever it lies.
 *
 * The pair is turned by a fixed angle for each sample, which costs no sine; it is set anew now and then, so that
 * rounding does not add up.
 */
const ANEW_EVERY = 4096

/**
 * @param samples from is the first that counts, at angle 0; stepRad the angle from sample to sample
 * @returns sum of samples × cos and of samples × sin
 */
export function project(
  samples: Float32Array | Float64Array,
  from: number,
  count: number,
  stepRad: number,
): { cosine: number; sine: number } {
  const [stepRe, stepIm] = [Math.cos(stepRad), Math.sin(stepRad)]
  let [cosine, sine] = [0, 0]
  for (let first = 0; first < count; first += ANEW_EVERY) {
    const stop = Math.min(count, first + ANEW_EVERY)
    let re = Math.cos(stepRad * first)
    let im = Math.sin(stepRad * first)
    for (let n = first; n < stop; n++) {
      const sample = samples[from + n]
      cosine += sample * re
      sine += sample * im
      const next = re * stepRe - im * stepIm
      im = im * stepRe + re * stepIm
      re = next
    }
  }
  return { cosine, sine }
}

/** Takes a × cos + b × sin off the samples, in place. */
export function takeOff(samples: Float64Array, stepRad: number, a: number, b: number): void {
  const [stepRe, stepIm] = [Math.cos(stepRad), Math.sin(stepRad)]
  for (let first = 0; first < samples.length; first += ANEW_EVERY) {
    const stop = Math.min(samples.length, first + ANEW_EVERY)
    let re = Math.cos(stepRad * first)
    let im = Math.sin(stepRad * first)
    for (let n = first; n < stop; n++) {
      samples[n] -= a * re + b * im
      const next = re * stepRe - im * stepIm
      im = im * stepRe + re * stepIm
      re = next
    }
  }
}

/** A cosine and a sine to compare many stretches with: values at 0, stepRad, 2 stepRad … */
export function turning(
  count: number,
  stepRad: number,
): { readonly cosine: Float32Array; readonly sine: Float32Array } {
  const [cosine, sine] = [new Float32Array(count), new Float32Array(count)]
  const [stepRe, stepIm] = [Math.cos(stepRad), Math.sin(stepRad)]
  for (let first = 0; first < count; first += ANEW_EVERY) {
    const stop = Math.min(count, first + ANEW_EVERY)
    let re = Math.cos(stepRad * first)
    let im = Math.sin(stepRad * first)
    for (let n = first; n < stop; n++) {
      cosine[n] = re
      sine[n] = im
      const next = re * stepRe - im * stepIm
      im = im * stepRe + re * stepIm
      re = next
    }
  }
  return { cosine, sine }
}

/**
 * Squared amplitude of one frequency in windows of so many blocks, one window beginning at each block.
 *
 * @param blockCount samples of a block
 * @param wide blocks of a window
 */
export function windowPowers(samples: Float32Array, stepRad: number, blockCount: number, wide: number): Float64Array {
  const count = Math.floor(samples.length / blockCount)
  const blocks = new Float64Array(2 * count)
  for (let i = 0; i < count; i++) {
    const { cosine, sine } = project(samples, i * blockCount, blockCount, stepRad)
    // The angle of each block's first sample, so that blocks add up to a longer one.
    const [cos, sin] = [Math.cos(stepRad * i * blockCount), Math.sin(stepRad * i * blockCount)]
    blocks[2 * i] = cosine * cos - sine * sin
    blocks[2 * i + 1] = cosine * sin + sine * cos
  }
  const scale = (2 / (wide * blockCount)) ** 2
  return Float64Array.from({ length: Math.max(0, count - wide + 1) }, (_, i) => {
    let [re, im] = [0, 0]
    for (let j = i; j < i + wide; j++) {
      re += blocks[2 * j]
      im += blocks[2 * j + 1]
    }
    return scale * (re * re + im * im)
  })
}
