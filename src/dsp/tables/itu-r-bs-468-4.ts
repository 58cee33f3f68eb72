/**
 * Recommendation ITU-R BS.468-4, Table 1: response of the noise weighting network. Rows: frequency (Hz), response (dB),
 * tolerance (± dB). Read from a copy of the recommendation.
 *
 * The last row of the table, 31.5 kHz, lies above all that is measured here; its tolerance is open downwards.
 */
export const BS_468_RESPONSE = [
  [31.5, -29.9, 2],
  [63, -23.9, 1.4],
  [100, -19.8, 1],
  [200, -13.8, 0.85],
  [400, -7.8, 0.7],
  [800, -1.9, 0.55],
  [1000, 0, 0.5],
  [2000, 5.6, 0.5],
  [3150, 9, 0.5],
  [4000, 10.5, 0.5],
  [5000, 11.7, 0.5],
  [6300, 12.2, 0],
  [7100, 12, 0.2],
  [8000, 11.4, 0.4],
  [9000, 10.1, 0.6],
  [10000, 8.1, 0.8],
  [12500, 0, 1.2],
  [14000, -5.3, 1.4],
  [16000, -11.7, 1.6],
  [20000, -22.2, 2],
] as const

/**
 * The network as a rational function of frequency, as it is commonly published: numerator and denominator's real (even)
 * and imaginary (odd) part, lowest power first. The recommendation gives the network as a circuit; this form was not
 * checked against the circuit but against Table 1, which it meets within 0.09 dB.
 */
export const BS_468_NETWORK = {
  gainDb: 18.2,
  numerator: 1.246332637532143e-4,
  /** 1, f^2, f^4, f^6 */
  even: [1, -1.363894795463638e-7, 2.043828333606125e-15, -4.737338981378384e-24],
  /** f, f^3, f^5 */
  odd: [5.559488023498642e-4, -2.118150887518656e-11, 1.306612257412824e-19],
} as const

/** AES17-2015, 5.2.7: the same curve lowered by a flat 5.63 dB, so that it has 0 dB at 2 kHz. From a transcription. */
export const AES17_OFFSET_DB = -5.63
