/** Small systems of linear equations. */

/**
 * Solves a x = b by elimination with the largest pivot, rows scaled to their own size first: unknowns may have any units.
 *
 * @param a square, row by row; left as it is
 * @returns x, or null where the equations do not settle it
 */
export function solve(a: readonly (readonly number[])[], b: readonly number[]): number[] | null {
  const size = b.length
  // Columns scaled by the diagonal's root, for normal equations whose unknowns differ by orders of magnitude.
  const scale = a.map((row, n) => 1 / (Math.sqrt(Math.abs(row[n])) || 1))
  const rows = a.map((row, p) => [...row.map((value, q) => value * scale[p] * scale[q]), b[p] * scale[p]])
  for (let column = 0; column < size; column++) {
    let pivot = column
    for (let p = column + 1; p < size; p++) if (Math.abs(rows[p][column]) > Math.abs(rows[pivot][column])) pivot = p
    if (!(Math.abs(rows[pivot][column]) > 1e-13)) return null
    ;[rows[column], rows[pivot]] = [rows[pivot], rows[column]]
    for (let p = column + 1; p < size; p++) {
      const factor = rows[p][column] / rows[column][column]
      for (let q = column; q <= size; q++) rows[p][q] -= factor * rows[column][q]
    }
  }
  const x = new Array<number>(size).fill(0)
  for (let p = size - 1; p >= 0; p--) {
    let value = rows[p][size]
    for (let q = p + 1; q < size; q++) value -= rows[p][q] * x[q]
    x[p] = value / rows[p][p]
  }
  return x.map((value, n) => value * scale[n])
}
