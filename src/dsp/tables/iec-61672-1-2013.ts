/**
 * IEC 61672-1:2013, Table 3: A- and C-weighting. Rows: nominal frequency (Hz), weight (dB), printed to 0.1 dB.
 *
 * The weights were computed at the exact frequencies 10^(n/10) Hz, not at the nominal ones. Taken from two public
 * transcriptions that agree; the standard itself was not read.
 */

// biome-ignore format: one decade a line, as the bands repeat.
export const A_WEIGHTING = [
  [10, -70.4], [12.5, -63.4], [16, -56.7], [20, -50.5], [25, -44.7], [31.5, -39.4], [40, -34.6], [50, -30.2], [63, -26.2], [80, -22.5],
  [100, -19.1], [125, -16.1], [160, -13.4], [200, -10.9], [250, -8.6], [315, -6.6], [400, -4.8], [500, -3.2], [630, -1.9], [800, -0.8],
  [1000, 0], [1250, 0.6], [1600, 1], [2000, 1.2], [2500, 1.3], [3150, 1.2], [4000, 1], [5000, 0.5], [6300, -0.1], [8000, -1.1],
  [10000, -2.5], [12500, -4.3], [16000, -6.6], [20000, -9.3],
] as const

// biome-ignore format: one decade a line, as the bands repeat.
export const C_WEIGHTING = [
  [10, -14.3], [12.5, -11.2], [16, -8.5], [20, -6.2], [25, -4.4], [31.5, -3], [40, -2], [50, -1.3], [63, -0.8], [80, -0.5],
  [100, -0.3], [125, -0.2], [160, -0.1], [200, 0], [250, 0], [315, 0], [400, 0], [500, 0], [630, 0], [800, 0],
  [1000, 0], [1250, 0], [1600, -0.1], [2000, -0.2], [2500, -0.3], [3150, -0.5], [4000, -0.8], [5000, -1.3], [6300, -2], [8000, -3],
  [10000, -4.4], [12500, -6.2], [16000, -8.5], [20000, -11.2],
] as const

/**
 * Class 1 acceptance limits of the same table: nominal frequency (Hz), above and below the design goal (dB). From a
 * public transcription.
 */
// biome-ignore format: one decade a line, as the bands repeat.
export const CLASS_1_LIMITS = [
  [10, 3, Infinity], [12.5, 2.5, Infinity], [16, 2, 4], [20, 2, 2], [25, 2, 1.5], [31.5, 1.5, 1.5], [40, 1, 1], [50, 1, 1], [63, 1, 1], [80, 1, 1],
  [100, 1, 1], [125, 1, 1], [160, 1, 1], [200, 1, 1], [250, 1, 1], [315, 1, 1], [400, 1, 1], [500, 1, 1], [630, 1, 1], [800, 1, 1],
  [1000, 0.7, 0.7], [1250, 1, 1], [1600, 1, 1], [2000, 1, 1], [2500, 1, 1], [3150, 1, 1], [4000, 1, 1], [5000, 1.5, 1.5], [6300, 1.5, 2], [8000, 1.5, 2.5],
  [10000, 2, 3], [12500, 2, 5], [16000, 2.5, 16], [20000, 3, Infinity],
] as const
