/**
 * G. Heinzel, A. Rüdiger, R. Schilling, "Spectrum and spectral density estimation by the DFT", Max-Planck-Institut für
 * Gravitationsphysik, 2002: flat-top windows as cosine sums.
 *
 * Coefficients a_k of w[j] = sum of (-1)^k a_k cos(2 pi k j / N), as printed: a_0 = 1, so the mean is 1 and the peak is
 * their sum. Taken from a public source library that has them from the paper; the paper itself was not read.
 */

/** Highest sidelobe -95.0 dB. */
export const HFT95 = [1, 1.9383379, 1.3045202, 0.402827, 0.0350665] as const

/** Highest sidelobe -116.8 dB. */
export const HFT116D = [1, 1.9575375, 1.4780705, 0.6367431, 0.1228389, 0.0066288] as const

/** Highest sidelobe -144.1 dB, first null at bin 7. */
export const HFT144D = [1, 1.96760033, 1.57983607, 0.81123644, 0.22583558, 0.02773848, 0.0009036] as const

/** Highest sidelobe -248.4 dB, first null at bin 11: what lies under a 24-bit tone stays visible. */
export const HFT248D = [
  1, 1.985844164102, 1.791176438506, 1.282075284005, 0.667777530266, 0.240160796576, 0.056656381764, 0.008134974479,
  0.00062454465, 0.000019808998, 0.000000132974,
] as const
