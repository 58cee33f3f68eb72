/**
 * F. J. Harris, "On the use of windows for harmonic analysis with the discrete Fourier transform", Proc. IEEE 66(1),
 * 51-83, 1978: cosine-sum windows.
 *
 * Coefficients a_k of w[j] = sum of (-1)^k a_k cos(2 pi k j / N); they add up to 1, so the peak is 1 and a_0 is the
 * coherent gain. Taken from two public source libraries that agree; the paper itself was not read.
 */

/** Highest sidelobe -31.5 dB, falling 18 dB an octave. */
export const HANN = [0.5, 0.5] as const

/** Minimum four-term Blackman-Harris: highest sidelobe -92 dB. */
export const BLACKMAN_HARRIS_4 = [0.35875, 0.48829, 0.14128, 0.01168] as const
