/** The Kaiser window. Source: J. F. Kaiser, R. W. Schafer, IEEE Trans. ASSP-28(1), 1980. */

/** Shape parameter for a stop-band attenuation above 50 dB. */
export const kaiserBeta = (attenuationDb: number): number => 0.1102 * (attenuationDb - 8.7)

/** Window at a place from -1 to 1; 1 in the middle, 0 outside. */
export function kaiserAt(place: number, beta: number): number {
  const inside = 1 - place * place
  return inside <= 0 ? 0 : besselI0(beta * Math.sqrt(inside)) / besselI0(beta)
}

/** Modified Bessel function of the first kind, order 0, by its power series; to rounding for x below 20. */
function besselI0(x: number): number {
  let [sum, term] = [1, 1]
  for (let k = 1; term > 1e-17 * sum; k++) {
    term *= (x / (2 * k)) ** 2
    sum += term
  }
  return sum
}
