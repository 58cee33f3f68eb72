/** fft.js ships no types: what is used of it, on typed arrays (interleaved re, im; lengths twice the size). */
declare module 'fft.js' {
  export default class FFT {
    constructor(size: number)
    transform(out: Float64Array, data: ArrayLike<number>): void
    inverseTransform(out: Float64Array, data: Float64Array): void
  }
}
