/**
 * The complex transform of a power-of-two size under `fft.ts`: passes of four (and one of two where the size asks for it)
 * from one array into another, each in the order of memory. Complex arrays are interleaved: re, im, re, im …
 *
 * Source: self-sorting form of T. G. Stockham, AFIPS 28, 229 (1966), as in C. Van Loan, Computational Frameworks for the
 * FFT, 1992, 1.7 (from memory).
 */

interface Plan {
  /** exp(-2 pi i k / size), k below 3/4 of size. */
  readonly turns: Float64Array
  readonly room: Float64Array
}

const plans = new Map<number, Plan>()

function planOf(size: number): Plan {
  let plan = plans.get(size)
  if (!plan) {
    if (!Number.isInteger(Math.log2(size)) || size < 2) throw new RangeError(`fft: size ${size}, want a power of two`)
    // Plans are kept, since making one costs more than using it.
    plan = { turns: turnsOf(size, 0.75 * size), room: new Float64Array(2 * size) }
    plans.set(size, plan)
  }
  return plan
}

/** exp(-2 pi i k / size) for k below count, interleaved. */
export function turnsOf(size: number, count: number): Float64Array {
  const turns = new Float64Array(2 * Math.ceil(count))
  for (let k = 0; k < count; k++) {
    turns[2 * k] = Math.cos((2 * Math.PI * k) / size)
    turns[2 * k + 1] = -Math.sin((2 * Math.PI * k) / size)
  }
  return turns
}

/**
 * Sum of data[n] exp(-2 pi i sign k n / size) for every k, not scaled.
 * @param out 2 × size numbers or more, another array than data, which stays as it is
 * @param sign 1 forward, -1 back
 */
export function transform(out: Float64Array, data: Float64Array, size: number, sign: 1 | -1): void {
  const { turns, room } = planOf(size)
  const passes = Math.ceil(Math.log2(size) / 2)
  let from = data
  // So that the last pass ends in out.
  let to = passes % 2 === 1 ? out : room
  let length = size
  for (let stride = 1; length > 1; stride *= 4) {
    if (length === 2) passOfTwo(from, to, stride)
    else if (stride === 1) firstPass(from, to, size, turns, sign)
    else passOfFour(from, to, length, stride, turns, sign)
    length >>= 2
    from = to
    to = from === out ? room : out
  }
}

function passOfTwo(x: Float64Array, y: Float64Array, stride: number): void {
  const half = 2 * stride
  for (let n = 0; n < half; n++) {
    const a = x[n]
    const b = x[n + half]
    y[n] = a + b
    y[n + half] = a - b
  }
}

/** Four values a quarter of the array apart, turned to four that lie side by side. */
function firstPass(x: Float64Array, y: Float64Array, size: number, turns: Float64Array, sign: number): void {
  const quarter = size >> 1
  for (let i = 0, o = 0; i < quarter; i += 2, o += 8) {
    const ar = x[i]
    const ai = x[i + 1]
    const br = x[i + quarter]
    const bi = x[i + quarter + 1]
    const cr = x[i + 2 * quarter]
    const ci = x[i + 2 * quarter + 1]
    const dr = x[i + 3 * quarter]
    const di = x[i + 3 * quarter + 1]
    const sumRe = ar + cr
    const sumIm = ai + ci
    const lessRe = ar - cr
    const lessIm = ai - ci
    const otherRe = br + dr
    const otherIm = bi + di
    const crossRe = sign * (bi - di)
    const crossIm = sign * (dr - br)
    const w1i = sign * turns[i + 1]
    const w2i = sign * turns[2 * i + 1]
    const w3i = sign * turns[3 * i + 1]
    y[o] = sumRe + otherRe
    y[o + 1] = sumIm + otherIm
    const ur = lessRe + crossRe
    const ui = lessIm + crossIm
    y[o + 2] = ur * turns[i] - ui * w1i
    y[o + 3] = ur * w1i + ui * turns[i]
    const vr = sumRe - otherRe
    const vi = sumIm - otherIm
    y[o + 4] = vr * turns[2 * i] - vi * w2i
    y[o + 5] = vr * w2i + vi * turns[2 * i]
    const zr = lessRe - crossRe
    const zi = lessIm - crossIm
    y[o + 6] = zr * turns[3 * i] - zi * w3i
    y[o + 7] = zr * w3i + zi * turns[3 * i]
  }
}

/** The same for runs of stride values that share their turns. */
function passOfFour(
  x: Float64Array,
  y: Float64Array,
  length: number,
  stride: number,
  turns: Float64Array,
  sign: number,
): void {
  const quarters = length >> 2
  const run = 2 * stride
  const quarter = run * quarters
  for (let p = 0; p < quarters; p++) {
    const t = p * run
    const w1r = turns[t]
    const w1i = sign * turns[t + 1]
    const w2r = turns[2 * t]
    const w2i = sign * turns[2 * t + 1]
    const w3r = turns[3 * t]
    const w3i = sign * turns[3 * t + 1]
    const end = (p + 1) * run
    for (let i = p * run, o = 4 * p * run; i < end; i += 2, o += 2) {
      const ar = x[i]
      const ai = x[i + 1]
      const br = x[i + quarter]
      const bi = x[i + quarter + 1]
      const cr = x[i + 2 * quarter]
      const ci = x[i + 2 * quarter + 1]
      const dr = x[i + 3 * quarter]
      const di = x[i + 3 * quarter + 1]
      const sumRe = ar + cr
      const sumIm = ai + ci
      const lessRe = ar - cr
      const lessIm = ai - ci
      const otherRe = br + dr
      const otherIm = bi + di
      const crossRe = sign * (bi - di)
      const crossIm = sign * (dr - br)
      y[o] = sumRe + otherRe
      y[o + 1] = sumIm + otherIm
      const ur = lessRe + crossRe
      const ui = lessIm + crossIm
      y[o + run] = ur * w1r - ui * w1i
      y[o + run + 1] = ur * w1i + ui * w1r
      const vr = sumRe - otherRe
      const vi = sumIm - otherIm
      y[o + 2 * run] = vr * w2r - vi * w2i
      y[o + 2 * run + 1] = vr * w2i + vi * w2r
      const zr = lessRe - crossRe
      const zi = lessIm - crossIm
      y[o + 3 * run] = zr * w3r - zi * w3i
      y[o + 3 * run + 1] = zr * w3i + zi * w3r
    }
  }
}
