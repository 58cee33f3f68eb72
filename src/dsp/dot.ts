/**
 * Scalar product of two arrays from an index on.
 *
 * Four sums side by side: one alone waits for each addition to end before the next, which takes three times as long.
 */
export function dot(a: Float64Array, b: Float64Array, from = 0): number {
  const end = a.length
  const whole = from + ((end - from) & ~3)
  let [s0, s1, s2, s3] = [0, 0, 0, 0]
  for (let i = from; i < whole; i += 4) {
    s0 += a[i] * b[i]
    s1 += a[i + 1] * b[i + 1]
    s2 += a[i + 2] * b[i + 2]
    s3 += a[i + 3] * b[i + 3]
  }
  for (let i = whole; i < end; i++) s0 += a[i] * b[i]
  return s0 + s1 + (s2 + s3)
}
