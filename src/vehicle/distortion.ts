/**
 * A soft curve y = v + full × (a2 u² + a3 u³), u = v / full: second harmonic a2 / 2, third a3 / 4 of the fundamental at
 * full level, falling with the level as they do in an amplifier. Source: products of cos² and cos³.
 *
 * The products reach above half the sample rate, where a recording of the real thing has nothing. So they are made at twice
 * the rate and brought back without folding; the signal itself is not touched by the two filters.
 */
import { kaiserAt, kaiserBeta } from './kaiser.js'

/** Taps on each side of the half-band filter: products are kept to 0.41 of the rate, and fold less than -80 dB of theirs. */
const TAP_COUNT = 16
const BETA = kaiserBeta(80)

/** Products below this part of the signal fold to less than a 24-bit take shows: they are made at the rate itself. */
const PLAIN_RATIO_MAX = 2e-4

/**
 * Distorts a channel in place.
 *
 * @param fullVpk peak of the sine for which the two ratios hold
 * @param secondRatio harmonics over the fundamental, as amplitudes; the third flattens the peaks
 */
export function distort(samples: Float32Array, fullVpk: number, secondRatio: number, thirdRatio: number): void {
  // a2 u² = a2 v² / full, and so on.
  const a2 = (2 * secondRatio) / fullVpk
  const a3 = (-4 * thirdRatio) / fullVpk ** 2
  if (a2 === 0 && a3 === 0) return
  if (secondRatio + thirdRatio <= PLAIN_RATIO_MAX) {
    for (let n = 0; n < samples.length; n++) {
      const v = samples[n]
      samples[n] = v + v * v * (a2 + a3 * v)
    }
    return
  }
  // Products at the places half-way between samples; between[k + TAP_COUNT] stands after sample k.
  const between = new Float64Array(samples.length + 2 * TAP_COUNT)
  for (let at = 0; at < between.length; at++) {
    const v = halfway(samples, at - TAP_COUNT)
    between[at] = v * v * (a2 + a3 * v)
  }
  // Each result reads ahead of the place that it is written to only in `between`.
  for (let n = 0; n < samples.length; n++) {
    const v = samples[n]
    let aside = 0
    const middle = n + TAP_COUNT
    for (let k = 0; k < TAP_COUNT; k++) aside += HALF_BAND[k] * (between[middle + k] + between[middle - 1 - k])
    // Half of the doubled rate's gain comes from each of the two phases.
    samples[n] = v + 0.5 * (v * v * (a2 + a3 * v) + aside)
  }
}

/** The signal half a sample after sample n. */
function halfway(samples: Float32Array, n: number): number {
  let sum = 0
  if (n - TAP_COUNT + 1 >= 0 && n + TAP_COUNT < samples.length) {
    for (let k = 0; k < TAP_COUNT; k++) sum += HALF_BAND[k] * (samples[n - k] + samples[n + 1 + k])
    return sum
  }
  for (let k = 0; k < TAP_COUNT; k++) sum += HALF_BAND[k] * ((samples[n - k] ?? 0) + (samples[n + 1 + k] ?? 0))
  return sum
}

/** Odd taps of a half-band low-pass, doubled: sinc at half places under a Kaiser window. */
const HALF_BAND = Float64Array.from({ length: TAP_COUNT }, (_, k) => {
  const distance = k + 0.5
  return (Math.sin(Math.PI * distance) / (Math.PI * distance)) * kaiserAt(distance / TAP_COUNT, BETA)
})
