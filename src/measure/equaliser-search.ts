/**
 * Finds the fewest parts that explain a curve.
 *
 * Parts are added one by one, the best first, until none is worth its parameters; then whatever can go is taken away. Where
 * that leaves parts that hardly can be told from each other, or something unexplained, the curve's poles and zeros are asked.
 * All this on every fourth point; the last word have all points.
 */
import { EDGE_FAMILIES } from './edge-filters.js'
import {
  type Chain,
  chainDb,
  type FitData,
  type Fitted,
  fitted,
  inverseOf,
  type Part,
  placeOf,
  productsOf,
  sizeOf,
  weightedSlopes,
} from './equaliser-fit.js'
import { chainsByPoles } from './equaliser-poles.js'
import { candidatesFor } from './equaliser-scan.js'

const SECTIONS_MAX = 6
/**
 * What a part must take off the misfit to be there. Schwarz's criterion asks for ln N of each parameter (18 for a section
 * on 475 points); the rest is for having looked in a hundred places.
 */
const WORTH = { section: 32, edge: 10 } as const
/** What few makers use must explain more: orders beyond those of common crossovers, and gains beyond this. */
const RARE = { worth: 16, gainDb: 15, orders: [5, 6, 7], squaredOrders: [6] } as const
/** A section that moves the curve by less than this is not listed. */
const MATTERS_DB = 0.15

/** Rms of what is left, in floors. */
const HOPELESS_FLOORS = 25

const COARSE_STRIDE = 4
/** Starts that are gone on with after a first look. */
const STARTS_KEPT = 2

export const sectionCount = ({ parts }: Chain): number => parts.filter(({ kind }) => kind !== 'edge').length

function worthOf(part: Part, gainDb: number): number {
  if (part.kind !== 'edge') return WORTH.section + (Math.abs(gainDb) > RARE.gainDb ? RARE.worth : 0)
  const rare: readonly number[] = part.edge.isSquared ? RARE.squaredOrders : RARE.orders
  return WORTH.edge + (rare.includes(part.edge.order) ? RARE.worth : 0)
}

const hasRareGain = (chain: Chain): boolean =>
  chain.parts.some((part, k) => part.kind !== 'edge' && Math.abs(chain.values[placeOf(chain, k)]) > RARE.gainDb)

/** Misfit and what the parts must be worth: the smaller the better. */
export const costOf = (fit: Fitted): number =>
  fit.parts.reduce((sum, part, k) => sum + worthOf(part, fit.values[placeOf(fit, k)]), 0) + fit.misfit

/** Rms of the misfit per point, in floors, up to which nothing is left to look for. */
const CLEAN = 0.1
const isClean = ({ misfit }: Fitted, data: FitData, noiseMisfit: number): boolean =>
  misfit < 1.5 * noiseMisfit + CLEAN * CLEAN * data.freqHz.length * COARSE_STRIDE

/**
 * @param starts chains of edges from which to set out, the likeliest first
 * @param noiseMisfit the misfit that noise alone would leave
 */
export function searched(starts: readonly Chain[], data: FitData, noiseMisfit: number): Fitted {
  const coarse = coarseOf(data)
  const isDone = (fit: Fitted): boolean => isClean(fit, coarse, noiseMisfit)
  const isSettled = (fit: Fitted): boolean =>
    isDone(fit) && !hasRareGain(fit) && (sectionCount(fit) < 2 || !isLoose(fit, coarse))
  const bare = starts.map((start) => fitted(start, coarse, 20))
  // Edges alone may be all there is.
  const plain = bare.filter(isDone).sort((a, b) => costOf(a) - costOf(b))[0]
  let best = plain ?? explored(bare[0], coarse, isDone, isSettled)
  if (!plain && !isSettled(best) && !isHopeless(best, coarse)) {
    const firsts = bare
      .slice(1)
      .map((start) => grown(start, coarse, 2, isDone))
      .sort((a, b) => costOf(a) - costOf(b))
    for (const first of firsts.slice(0, STARTS_KEPT)) {
      const other = explored(first, coarse, isDone, isSettled)
      if (costOf(other) < costOf(best)) best = other
    }
  }
  return pruned(fitted(best, data, 30), data)
}

/** As many sections as there may be, and still far off: no rearranging will help. */
const isHopeless = (fit: Fitted, data: FitData): boolean =>
  sectionCount(fit) >= SECTIONS_MAX && fit.misfit > HOPELESS_FLOORS ** 2 * data.freqHz.length * COARSE_STRIDE

/** All that can be made of a start. */
function explored(start: Fitted, data: FitData, isDone: IsDone, isSettled: IsDone): Fitted {
  const first = pruned(grown(start, data, SECTIONS_MAX, isDone), data)
  if (isHopeless(first, data)) return first
  let best = reedged(first, data, isSettled)
  // The edges as they are now, and as they were before anything was added: either may be the better guess.
  for (const edges of [best, start]) {
    const count = sectionCount(best)
    if (count < 2 || isSettled(best)) break
    best = byPoles(edges, best, data, isDone(best) ? count - 1 : Math.min(SECTIONS_MAX, count + 1), isDone)
    if (isDone(best)) break
  }
  return best
}

/**
 * Tries another family for each edge in place of an edge and the section nearest to its corner: a Linkwitz-Riley edge with a
 * peak of 3 dB at its corner is nearly a Butterworth one.
 */
function reedged(start: Fitted, data: FitData, isSettled: IsDone): Fitted {
  let best = start
  for (;;) {
    const next = edgeSwaps(best, isSettled(best))
      .map((chain) => fitted(chain, data, 15))
      .sort((a, b) => costOf(a) - costOf(b))[0]
    if (!next || costOf(next) >= costOf(best) - 1) return best
    best = pruned(next, data)
  }
}

/** Other families for the steep edges; where all is well, only in place of a section that stands at a corner. */
function edgeSwaps(chain: Chain, isWell: boolean): Chain[] {
  return chain.parts.flatMap((part, index) => {
    if (part.kind !== 'edge' || part.edge.isAnalog) return []
    const { edge } = part
    const lnCorner = chain.values[placeOf(chain, index)]
    const distance = (k: number): number => Math.abs(chain.values[placeOf(chain, k) + 1] - lnCorner)
    const near = [...chain.parts.keys()]
      .filter((k) => chain.parts[k].kind !== 'edge' && (!isWell || distance(k) < AT_CORNER * Math.LN2))
      .sort((a, b) => distance(a) - distance(b))
    const families = EDGE_FAMILIES.filter(
      ({ order, isSquared }) =>
        Math.abs(order - edge.order) <= 2 && (order !== edge.order || isSquared !== edge.isSquared),
    )
    return families.flatMap((family) => {
      const swapped: Chain = {
        parts: chain.parts.map((one, k) => (k === index ? { kind: 'edge', edge: { ...edge, ...family } } : one)),
        values: chain.values,
      }
      return [...(isWell && near.length === 0 ? [] : [swapped]), ...near.slice(0, 2).map((k) => without(swapped, k))]
    })
  })
}

/** Octaves from a corner within which a section may be a part of the edge. */
const AT_CORNER = 0.6

function coarseOf(data: FitData): FitData {
  const pick = (values: Float64Array): Float64Array =>
    Float64Array.from({ length: Math.ceil(values.length / COARSE_STRIDE) }, (_, i) => values[i * COARSE_STRIDE])
  return {
    sampleRateHz: data.sampleRateHz,
    squares: pick(data.squares),
    warped: pick(data.warped),
    freqHz: pick(data.freqHz),
    levelDb: pick(data.levelDb),
    // Weighted so that a misfit counts the same as on all points.
    rootWeight: pick(data.rootWeight).map((value) => value * Math.sqrt(COARSE_STRIDE)),
  }
}

type IsDone = (fit: Fitted) => boolean

/** Adds the best part, as long as it is worth it and not all is explained. */
function grown(start: Fitted, data: FitData, sectionsMax: number, isDone: IsDone): Fitted {
  let best = start
  while (!isDone(best)) {
    const mayAdd = sectionCount(best) < sectionsMax
    const tries = candidatesFor(best, data, 4)
      .filter(
        ({ gain, part }) => gain > WORTH[part.kind === 'edge' ? 'edge' : 'section'] && (mayAdd || part.kind === 'edge'),
      )
      .map(({ part, values }) =>
        fitted({ parts: [...best.parts, part], values: [...best.values, ...values] }, data, 14),
      )
    const next = tries.sort((a, b) => costOf(a) - costOf(b))[0]
    if (!next || costOf(next) >= costOf(best)) break
    best = fitted(next, data, 20)
  }
  return best
}

/** Chains from the curve's poles and zeros, of one section, of two, and so on until one does. */
function byPoles(edges: Chain, so: Fitted, data: FitData, sectionsMax: number, isDone: IsDone): Fitted {
  const chains = chainsByPoles(edges, data)
  let best = so
  for (let count = 1; count <= sectionsMax; count++) {
    for (const chain of chains(count)) {
      const one = fitted(chain, data, 25)
      if (costOf(one) < costOf(best)) best = one
      if (best === one && isDone(one)) return pruned(one, data)
    }
  }
  return best === so ? so : pruned(best, data)
}

/** Standard deviations of gain (dB) and ln Q, with the weights as they are, above which a chain may hold parts too many. */
const LOOSE = { gainDb: 0.1, lnQ: 0.05 } as const

/** Variances of all parameters if each point were off by as much as its weight says. */
function variancesOf(chain: Chain, data: FitData): Float64Array {
  const size = chain.values.length
  const covariance = inverseOf(productsOf(weightedSlopes(chain, data)), size)
  return Float64Array.from({ length: size }, (_, k) => covariance[k * (size + 1)])
}

function isLoose(chain: Chain, data: FitData): boolean {
  const variances = variancesOf(chain, data)
  return chain.parts.some((part, k) => {
    if (part.kind === 'edge') return false
    const at = placeOf(chain, k)
    return variances[at] > LOOSE.gainDb ** 2 || variances[at + 2] > LOOSE.lnQ ** 2
  })
}

/** Takes parts away as long as the rest does as well, or where they do next to nothing. */
function pruned(start: Fitted, data: FitData): Fitted {
  let best = start
  for (;;) {
    const idle = best.parts.findIndex((part, k) => part.kind !== 'edge' && spanDb(best, k, data) < MATTERS_DB)
    const next =
      idle >= 0
        ? fitted(without(best, idle), data, 30)
        : doubtful(best, data)
            .map((k) => fitted(without(best, k), data, 12))
            .sort((a, b) => costOf(a) - costOf(b))
            .find((one) => costOf(one) < costOf(best))
    if (!next) return best
    best = next
  }
}

/** Parts that might go: those whose gain is not far outside of its own uncertainty, and gentle edges at the top. */
function doubtful(chain: Chain, data: FitData): number[] {
  const variances = variancesOf(chain, data)
  return [...chain.parts.keys()].filter((k) => {
    const part = chain.parts[k]
    const at = placeOf(chain, k)
    if (part.kind === 'edge') return part.edge.isAnalog && part.edge.side === 'high'
    return chain.values[at] ** 2 < 20 * WORTH.section * variances[at]
  })
}

function without(chain: Chain, index: number): Chain {
  const at = placeOf(chain, index)
  return {
    parts: chain.parts.filter((_, k) => k !== index),
    values: chain.values.filter((_, k) => k < at || k >= at + sizeOf(chain.parts[index])),
  }
}

/** Largest less smallest level of one part over the curve. */
function spanDb(chain: Chain, index: number, data: FitData): number {
  const at = placeOf(chain, index)
  const levelDb = new Float64Array(data.levelDb.length)
  const alone = { parts: [chain.parts[index]], values: [0, ...chain.values.slice(at, at + sizeOf(chain.parts[index]))] }
  chainDb(alone, data, levelDb, null)
  return levelDb.reduce((a, b) => Math.max(a, b)) - levelDb.reduce((a, b) => Math.min(a, b))
}
