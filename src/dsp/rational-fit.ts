/**
 * Finds the ratio of two polynomials that a positive curve follows, by its poles and zeros.
 *
 * Roots come as a list in which a complex one stands for itself and its conjugate: im is 0 or above 0.
 */
import { leastSquares } from './least-squares.js'

export interface Root {
  readonly re: number
  readonly im: number
}

export interface Rational {
  readonly poles: readonly Root[]
  readonly zeros: readonly Root[]
  /** Rms of the relative error, weighted as asked for. */
  readonly errorRms: number
}

/** Fractions d + sum of r / (u - pole), with a real share for each real pole and two for each pair. */
interface Fractions {
  readonly poles: readonly Root[]
  readonly shares: Float64Array
  readonly constant: number
}

const orderOf = (roots: readonly Root[]): number => roots.reduce((sum, { im }) => sum + (im === 0 ? 1 : 2), 0)

/** A curve whose poles have been found with room to spare, to be asked for fits of fewer. */
export interface RationalFits {
  /**
   * @param order number of poles, even, from 2 to the order it was opened with
   * @throws RangeError for another order
   */
  fit(order: number): Rational
}

/**
 * Fits rational functions to a positive curve over positive u.
 *
 * It starts with more poles than will be asked for, spread over the axis, and lets them move. For a fit the least of them
 * are dropped and the rest settle: from too few poles to begin with, a narrow bump far from all of them is never found.
 *
 * @param u N places, rising, above 0; may span decades
 * @param curve N values above 0
 * @param weight N weights of the relative errors
 * @param orderMax number of poles to begin with, even
 *
 * Source: B. Gustavsen, A. Semlyen, "Rational approximation of frequency domain responses by vector fitting", IEEE Trans.
 * Power Delivery 14(3), 1052 (1999); relaxed as in B. Gustavsen, ibid. 21(3), 1587 (2006). There on the imaginary axis of s,
 * here on the positive axis of u, where the curve is real.
 */
export function rationalFits(
  u: Float64Array,
  curve: Float64Array,
  weight: Float64Array,
  orderMax: number,
): RationalFits {
  const sets = new Map<number, readonly Root[]>()
  sets.set(orderMax, settled(spread(u, orderMax), u, curve, weight, SPREAD_STEPS))
  const setOf = (order: number): readonly Root[] => {
    const known = sets.get(order)
    if (known) return known
    const fewer = thinned(setOf(order + 2), u, curve, weight, order)
    sets.set(order, fewer)
    return fewer
  }
  return {
    fit(order) {
      if (order % 2 !== 0 || order < 2 || order > orderMax) {
        throw new RangeError(`rational fit of order ${order}, want an even one from 2 to ${orderMax}`)
      }
      const poles = settled(setOf(order), u, curve, weight, STEPS)
      const { fractions, errorRms } = sharesFor(poles, u, curve, weight)
      return { poles, zeros: zerosOf(fractions), errorRms }
    },
  }
}

const SPREAD_STEPS = 5
const STEPS = 8

/** Pairs of poles, evenly over ln u, a quarter turn from the axis. */
function spread(u: Float64Array, order: number): Root[] {
  const [from, to] = [Math.log(1.5 * u[0]), Math.log(u[u.length - 1] / 1.5)]
  const count = order / 2
  return Array.from({ length: count }, (_, k) => ({
    re: 0,
    im: Math.exp(count > 1 ? from + ((to - from) * k) / (count - 1) : 0.5 * (from + to)),
  }))
}

/** Moves the poles until they stay; the best that was seen on the way. */
function settled(
  start: readonly Root[],
  u: Float64Array,
  curve: Float64Array,
  weight: Float64Array,
  stepCount: number,
): readonly Root[] {
  let poles = start
  let best = { poles, errorRms: Number.POSITIVE_INFINITY }
  for (let step = 0; step < stepCount; step++) {
    poles = moved(poles, u, curve, weight)
    const { errorRms } = sharesFor(poles, u, curve, weight)
    if (errorRms < best.errorRms) {
      const isSettled = errorRms > 0.999 * best.errorRms
      best = { poles, errorRms }
      if (isSettled) break
    }
  }
  return best.poles
}

/** Values of each pole's fractions, scaled to sizes near 1. */
function fractionColumns(poles: readonly Root[], u: Float64Array): Float64Array[] {
  return poles.flatMap(({ re, im }) => {
    const size = Math.hypot(re, im)
    if (im === 0) return [u.map((at) => size / (at - re))]
    const over = u.map((at) => (2 * size) / ((at - re) ** 2 + im * im))
    return [over.map((value, i) => value * (u[i] - re)), over.map((value) => -value * im)]
  })
}

/** One step: numerator and denominator over the same poles; the zeros of the denominator are the next poles. */
function moved(poles: readonly Root[], u: Float64Array, curve: Float64Array, weight: Float64Array): Root[] {
  const count = u.length
  const basis = fractionColumns(poles, u)
  // One more row holds the denominator's mean at 1; without it all could be 0.
  const firm = 0.1 * count
  const row = (values: Float64Array, last: number): Float64Array => {
    const out = new Float64Array(count + 1)
    out.set(values)
    out[count] = last
    return out
  }
  const relative = weight.map((value, i) => value / curve[i])
  const above = [...basis, new Float64Array(count).fill(1)].map((column) =>
    row(
      column.map((value, i) => value * relative[i]),
      0,
    ),
  )
  const below = [...basis, new Float64Array(count).fill(1)].map((column) =>
    row(
      column.map((value, i) => -value * weight[i]),
      (firm / count) * column.reduce((sum, value) => sum + value, 0),
    ),
  )
  const right = row(new Float64Array(count), firm)
  const x = leastSquares([...above, ...below], right).subarray(above.length)
  const constant = x[basis.length]
  const firmConstant = Math.abs(constant) > 1e-6 ? constant : 1e-6
  return zerosOf({ poles, shares: x.slice(0, basis.length), constant: firmConstant }).map(offAxis)
}

/** A pole on the axis would be an endless peak: it is moved off. */
function offAxis({ re, im }: Root): Root {
  if (im === 0) return { re: -Math.abs(re), im: 0 }
  return { re, im: re > 0 ? Math.max(im, 0.06 * re) : im }
}

function sharesFor(
  poles: readonly Root[],
  u: Float64Array,
  curve: Float64Array,
  weight: Float64Array,
): { readonly fractions: Fractions; readonly errorRms: number } {
  const columns = [...fractionColumns(poles, u), new Float64Array(u.length).fill(1)]
  for (const column of columns) for (let i = 0; i < u.length; i++) column[i] *= weight[i] / curve[i]
  const right = weight.slice()
  const x = leastSquares(columns, right)
  // What the reflections have left beyond the columns is the error.
  let sum = 0
  for (let i = columns.length; i < u.length; i++) sum += right[i] * right[i]
  return {
    fractions: { poles, shares: x.slice(0, -1), constant: x[x.length - 1] },
    errorRms: Math.sqrt(sum / u.length),
  }
}

/** Drops the pole whose absence costs least, again and again; makes up with a real one where a pair went too far. */
function thinned(
  start: readonly Root[],
  u: Float64Array,
  curve: Float64Array,
  weight: Float64Array,
  order: number,
): Root[] {
  let poles = [...start]
  while (orderOf(poles) > order) {
    const rests = poles.map((_, k) => poles.filter((_, m) => m !== k))
    const errors = rests.map((rest) => sharesFor(rest, u, curve, weight).errorRms)
    poles = rests[errors.indexOf(Math.min(...errors))]
  }
  return orderOf(poles) < order ? [...poles, { re: -Math.sqrt(u[0] * u[u.length - 1]), im: 0 }] : poles
}

/**
 * Zeros of a sum of fractions: all at once, each held off from the others. The steps need no polynomial's
 * coefficients, which would span hundreds of decades.
 * Source: O. Aberth, Math. Comp. 27(122), 339 (1973).
 */
function zerosOf({ poles, shares, constant }: Fractions): Root[] {
  // Every pole with its own complex residue.
  const [pr, pi, rr, ri]: number[][] = [[], [], [], []]
  let at = 0
  for (const { re, im } of poles) {
    const size = Math.hypot(re, im)
    if (im === 0) {
      pr.push(re)
      pi.push(0)
      rr.push(shares[at++] * size)
      ri.push(0)
    } else {
      const [a, b] = [shares[at++] * size, shares[at++] * size]
      pr.push(re, re)
      pi.push(im, -im)
      rr.push(a, a)
      ri.push(b, -b)
    }
  }
  const order = pr.length
  // Not quite on the poles, and each turned another way: zeros that are real must be free to get there.
  const zr = pr.map((re, k) => re * (1 + 0.003 * Math.cos(2.4 * k + 0.5)) - pi[k] * 0.003 * Math.sin(2.4 * k + 0.5))
  const zi = pi.map((im, k) => im * (1 + 0.003 * Math.cos(2.4 * k + 0.5)) + pr[k] * 0.003 * Math.sin(2.4 * k + 0.5))
  for (let step = 0; step < 60; step++) {
    let largest = 0
    for (let k = 0; k < order; k++) {
      // f = sum of fractions times the product of (z - pole): f' / f = s' / s + sum 1 / (z - pole).
      let [sr, si, dr, di, qr, qi] = [constant, 0, 0, 0, 0, 0]
      for (let m = 0; m < order; m++) {
        const [x, y] = [zr[k] - pr[m], zi[k] - pi[m]]
        const power = x * x + y * y + 1e-300
        const [er, ei] = [x / power, -y / power]
        const [tr, ti] = [rr[m] * er - ri[m] * ei, rr[m] * ei + ri[m] * er]
        sr += tr
        si += ti
        dr -= tr * er - ti * ei
        di -= tr * ei + ti * er
        qr += er
        qi += ei
        if (m === k) continue
        const [vx, vy] = [zr[k] - zr[m], zi[k] - zi[m]]
        const apart = vx * vx + vy * vy + 1e-300
        qr -= vx / apart
        qi += vy / apart
      }
      const size = sr * sr + si * si + 1e-300
      qr += (dr * sr + di * si) / size
      qi += (di * sr - dr * si) / size
      const pull = qr * qr + qi * qi + 1e-300
      const [mr, mi] = [qr / pull, -qi / pull]
      zr[k] -= mr
      zi[k] -= mi
      largest = Math.max(largest, (mr * mr + mi * mi) / (zr[k] * zr[k] + zi[k] * zi[k] + 1e-300))
    }
    if (largest < 1e-22) break
  }
  return paired(zr, zi, order)
}

/** One root of each conjugate pair; what has no mirror image is real. */
function paired(zr: readonly number[], zi: readonly number[], order: number): Root[] {
  const out: Root[] = []
  let room = order
  const upper = [...zr.keys()].filter((k) => zi[k] > 1e-8 * Math.hypot(zr[k], zi[k])).sort((a, b) => zi[b] - zi[a])
  for (const k of upper) {
    if (room < 2) break
    out.push({ re: zr[k], im: zi[k] })
    room -= 2
  }
  for (const k of zr.keys()) {
    if (room > 0 && Math.abs(zi[k]) <= 1e-8 * Math.hypot(zr[k], zi[k])) {
      out.push({ re: zr[k], im: 0 })
      room--
    }
  }
  return out
}
