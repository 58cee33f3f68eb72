/** Linear least squares for a few columns. */

import { dot } from './dot.js'

/** A column that is this near to a sum of those before it says nothing new; it gets no share. */
const NEW_SHARE = 1e-11

/**
 * x that makes the sum of the columns, each times its x, nearest to the right side.
 *
 * Columns are scaled to length 1 and taken through Householder's reflections, which is kind to columns that are nearly alike.
 *
 * @param columns m arrays of N values, N at least m; overwritten
 * @param right N values; overwritten
 * @returns m values
 *
 * Source: A. S. Householder, J. ACM 5(4), 339 (1958).
 */
export function leastSquares(columns: readonly Float64Array[], right: Float64Array): Float64Array {
  const [size, count] = [columns.length, right.length]
  if (count < size) throw new RangeError(`leastSquares: ${count} values for ${size} unknowns`)
  const scale = columns.map((column) => {
    const length = Math.sqrt(dot(column, column))
    const per = length > 0 ? 1 / length : 0
    for (let i = 0; i < count; i++) column[i] *= per
    return per
  })
  const diagonal = new Float64Array(size)
  for (let k = 0; k < size; k++) {
    const mirror = columns[k]
    const length = Math.sqrt(dot(mirror, mirror, k))
    if (length < NEW_SHARE) continue
    diagonal[k] = mirror[k] > 0 ? -length : length
    mirror[k] -= diagonal[k]
    // Half the squared length of the mirror's axis.
    const half = -diagonal[k] * mirror[k]
    for (let m = k + 1; m < size; m++) reflect(columns[m], mirror, k, half)
    reflect(right, mirror, k, half)
  }
  const x = new Float64Array(size)
  for (let k = size - 1; k >= 0; k--) {
    if (diagonal[k] === 0) continue
    let sum = right[k]
    for (let m = k + 1; m < size; m++) sum -= columns[m][k] * x[m]
    x[k] = sum / diagonal[k]
  }
  return x.map((value, k) => value * scale[k])
}

function reflect(values: Float64Array, mirror: Float64Array, from: number, half: number): void {
  const share = dot(values, mirror, from) / half
  for (let i = from; i < values.length; i++) values[i] -= share * mirror[i]
}
