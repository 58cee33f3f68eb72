/** First guesses of the edges of a band, before anything is known of what is inside. */
import { EDGE_FAMILIES, type EdgeSide, multiplyEdge } from './edge-filters.js'
import type { Chain, FitData, Part } from './equaliser-fit.js'

const STEP_OCTAVES = 1 / 6
const REACH_STEPS = 8

export interface EdgeGuess {
  readonly part: Part
  readonly lnCornerHz: number
  readonly misfit: number
}

/**
 * Edges that may be what a curve ends in: each family, at the corner where it best follows the outer part.
 * @returns the best first; none where the curve is not 3 dB down on this side
 */
export function edgeGuesses(data: FitData, referenceDb: number, side: EdgeSide): EdgeGuess[] {
  const { freqHz, levelDb, rootWeight, sampleRateHz } = data
  const count = freqHz.length
  const step = side === 'low' ? 1 : -1
  let corner = side === 'low' ? 0 : count - 1
  if (levelDb[corner] > referenceDb - 3) return []
  while (levelDb[corner] < referenceDb - 3) corner += step
  // From the end to an octave and a half inside the corner, every other point.
  const inside = freqHz[corner] * 2 ** (1.5 * step)
  const stretch = [...freqHz.keys()].filter(
    (i) => i % 2 === 0 && (side === 'low' ? freqHz[i] <= inside : freqHz[i] >= inside),
  )
  const pick = (values: Float64Array): Float64Array => Float64Array.from(stretch, (i) => values[i])
  const axis = { squares: pick(data.squares), warped: pick(data.warped), sampleRateHz }
  const levels = pick(levelDb)
  const weights = pick(rootWeight).map((value) => value * value)
  const power = new Float64Array(stretch.length)
  return EDGE_FAMILIES.map((family) => {
    const part: Part = { kind: 'edge', edge: { ...family, side, isAnalog: false } }
    let best: EdgeGuess = { part, lnCornerHz: Math.log(freqHz[corner]), misfit: Number.POSITIVE_INFINITY }
    for (let k = -REACH_STEPS; k <= REACH_STEPS; k++) {
      const cornerHz = freqHz[corner] * 2 ** (k * STEP_OCTAVES)
      if (cornerHz > 0.45 * sampleRateHz) continue
      power.fill(1)
      multiplyEdge(part.edge, cornerHz, axis, power)
      const misfit = spreadOf(power, levels, weights)
      if (misfit < best.misfit) best = { part, lnCornerHz: Math.log(cornerHz), misfit }
    }
    return best
  }).sort((a, b) => a.misfit - b.misfit)
}

/** Weighted squares of the difference of two curves, their distance left free. */
function spreadOf(power: Float64Array, levelDb: Float64Array, weight: Float64Array): number {
  let [sum, squares, weights] = [0, 0, 0]
  for (let i = 0; i < power.length; i++) {
    const off = levelDb[i] - 10 * Math.log10(power[i])
    sum += weight[i] * off
    squares += weight[i] * off * off
    weights += weight[i]
  }
  return squares - (sum * sum) / weights
}

/** Where a coupling capacitor is taken to stand before it is looked for; every line output has one, or a servo like it. */
const COUPLING: EdgeGuess = {
  part: { kind: 'edge', edge: { side: 'low', order: 1, isSquared: false, isAnalog: true } },
  lnCornerHz: Math.log(2),
  misfit: 0,
}

/**
 * Chains of nothing but edges from which a search may set out, the likeliest first. An edge that is not certain, because
 * the curve falls but nobody says that it should, may also be left out.
 */
export function startsFor(
  data: FitData,
  referenceDb: number,
  isCertain: { readonly low: boolean; readonly high: boolean },
): Chain[] {
  const sides = (['low', 'high'] as const).map((side) => {
    const guesses: (EdgeGuess | null)[] = edgeGuesses(data, referenceDb, side)
    if (guesses.length === 0) return [null]
    return isCertain[side] ? guesses : [null, ...guesses.slice(0, 3)]
  })
  const [lows, highs] = sides
  // Not each with each: the first of one side with all of the other.
  const pairs = [
    ...lows.map((low) => [low, highs[0]] as const),
    ...highs.slice(1).map((high) => [lows[0], high] as const),
  ]
  return pairs.map(([low, high]) => {
    const edges = [low ?? COUPLING, ...(high ? [high] : [])]
    return { parts: edges.map(({ part }) => part), values: [referenceDb, ...edges.map(({ lnCornerHz }) => lnCornerHz)] }
  })
}
