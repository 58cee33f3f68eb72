/**
 * Vehicle identification numbers: shape, and the check digit where one is used.
 *
 * Shape: ISO 3779. Check digit: 49 CFR 565.15(c), compulsory for vehicles of the North American market only; elsewhere
 * position 9 may hold anything, so a mismatch there says nothing. A mismatch never stops a test run: it is a hint.
 */

/** 49 CFR 565.15(c): value that the sum assigns to each character; I, O and Q are never used. */
const VALUES: { readonly [character: string]: number } = {
  ...{ 0: 0, 1: 1, 2: 2, 3: 3, 4: 4, 5: 5, 6: 6, 7: 7, 8: 8, 9: 9 },
  ...{ A: 1, B: 2, C: 3, D: 4, E: 5, F: 6, G: 7, H: 8 },
  ...{ J: 1, K: 2, L: 3, M: 4, N: 5, P: 7, R: 9 },
  ...{ S: 2, T: 3, U: 4, V: 5, W: 6, X: 7, Y: 8, Z: 9 },
}

/** 49 CFR 565.15(c): weight of positions 1 to 17; the check digit's own is 0. */
const WEIGHTS = [8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2] as const

export const VIN_LENGTH = 17

/** What is wrong with the shape of a VIN in capital letters, as one clause; null if nothing is. */
export function vinShapeProblem(vin: string): string | null {
  const wrong = [...vin].find((character) => !(character in VALUES))
  if (wrong === 'I' || wrong === 'O' || wrong === 'Q') return `it holds the letter ${wrong}, which no VIN uses`
  if (wrong !== undefined) return 'it holds something else than letters and digits'
  if (vin.length !== VIN_LENGTH) return `it has ${vin.length} characters`
  if (/^0+$/.test(vin)) return 'it is all zeros'
  return null
}

/**
 * The check digit that belongs to a VIN, whatever its position 9 holds: 0 to 9 or X.
 *
 * @param vin 17 characters of good shape
 * @throws RangeError for any other shape
 */
export function vinCheckDigit(vin: string): string {
  const problem = vinShapeProblem(vin)
  if (problem !== null) throw new RangeError(`vinCheckDigit: "${vin}": ${problem}`)
  const sum = WEIGHTS.reduce<number>((total, weight, index) => total + weight * VALUES[vin[index]], 0)
  return sum % 11 === 10 ? 'X' : String(sum % 11)
}

/** Whether position 9 is a check digit by law: the first character stands for a maker in North America. */
export const hasVinCheckDigit = (vin: string): boolean => /^[1-5]/.test(vin)

/** A hint for the technician when the check digit is wrong where one is used; null otherwise. */
export function vinWarning(vin: string): string | null {
  if (!hasVinCheckDigit(vin) || vin[8] === vinCheckDigit(vin)) return null
  return (
    `VIN ${vin}: its check digit (position 9) is ${vin[8]} and should be ${vinCheckDigit(vin)}. ` +
    'Compare it with the plate on the vehicle.'
  )
}
