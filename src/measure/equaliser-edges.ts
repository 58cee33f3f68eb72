/** First guesses of the edges of a band, before anything is known of what is inside. */
import { EDGE_FAMILIES, type EdgeSide, multiplyEdge } from './edge-filters.js'
import type { Chain, FitData, Part } from './equaliser-fit.js'

const STEP_OCTAVES = 1 / 12
const REACH_OCTAVES = 1.5
/** Far down, the edge is all there is: peaks have died away, and a shelf is a step. */
const DEEP_DB = 18
const DEEP_POINTS = 16
/** How far the band's level, as the far end tells it, may be from what the band itself shows. */
const LEVEL_REACH_DB = 10
const FAMILIES_KEPT = 5

interface EdgeGuess {
  readonly part: Part
  readonly lnCornerHz: number
  readonly levelDb: number
  readonly misfit: number
}

/**
 * Edges that may be what a curve ends in: of each family the corner that best follows the far end, or all that goes down
 * where that is not deep.
 * @returns the likeliest first; none where the curve is not 3 dB down on this side
 */
function edgeGuesses(data: FitData, referenceDb: number, side: EdgeSide): EdgeGuess[] {
  const { freqHz, levelDb, rootWeight, sampleRateHz } = data
  const count = freqHz.length
  const step = side === 'low' ? 1 : -1
  let corner = side === 'low' ? 0 : count - 1
  if (levelDb[corner] > referenceDb - 3) return []
  while (levelDb[corner] < referenceDb - 3) corner += step
  const isOuter = (i: number): boolean => (side === 'low' ? i < corner : i > corner)
  const deep = [...freqHz.keys()].filter((i) => isOuter(i) && levelDb[i] < referenceDb - DEEP_DB)
  const insideHz = freqHz[corner] * 2 ** (1.5 * step)
  const stretch =
    deep.length >= DEEP_POINTS
      ? deep
      : [...freqHz.keys()].filter((i) => (side === 'low' ? freqHz[i] <= insideHz : freqHz[i] >= insideHz))
  const pick = (values: Float64Array): Float64Array => Float64Array.from(stretch, (i) => values[i])
  const axis = { squares: pick(data.squares), warped: pick(data.warped), sampleRateHz }
  const levels = pick(levelDb)
  const weights = pick(rootWeight).map((value) => value * value)
  const power = new Float64Array(stretch.length)
  const guesses = EDGE_FAMILIES.map((family) => {
    const part: Part = { kind: 'edge', edge: { ...family, side, isAnalog: false } }
    let best: EdgeGuess = { part, lnCornerHz: 0, levelDb: referenceDb, misfit: Number.POSITIVE_INFINITY }
    for (let octaves = -REACH_OCTAVES; octaves <= REACH_OCTAVES; octaves += STEP_OCTAVES) {
      const cornerHz = freqHz[corner] * 2 ** octaves
      if (cornerHz > 0.45 * sampleRateHz) continue
      power.fill(1)
      multiplyEdge(part.edge, cornerHz, axis, power)
      const { meanDb, misfit } = distanceOf(power, levels, weights)
      if (misfit >= best.misfit || Math.abs(meanDb - referenceDb) > LEVEL_REACH_DB) continue
      best = { part, lnCornerHz: Math.log(cornerHz), levelDb: meanDb, misfit }
    }
    return best
  })
  return guesses
    .filter(({ misfit }) => Number.isFinite(misfit))
    .sort((a, b) => a.misfit - b.misfit)
    .slice(0, FAMILIES_KEPT)
}

/** Weighted mean of the difference of two curves, and squares of what is left. */
function distanceOf(
  power: Float64Array,
  levelDb: Float64Array,
  weight: Float64Array,
): { meanDb: number; misfit: number } {
  let [sum, squares, weights] = [0, 0, 0]
  for (let i = 0; i < power.length; i++) {
    const off = levelDb[i] - 10 * Math.log10(power[i])
    sum += weight[i] * off
    squares += weight[i] * off * off
    weights += weight[i]
  }
  return { meanDb: sum / weights, misfit: squares - (sum * sum) / weights }
}

/** Far down at its end and going on down, which no shelf does. */
function isStillFalling({ levelDb }: FitData, referenceDb: number, side: EdgeSide): boolean {
  const outward = side === 'low' ? levelDb : levelDb.slice().reverse()
  const mean = (from: number): number => outward.subarray(from, from + 6).reduce((sum, value) => sum + value, 0) / 6
  return mean(0) < referenceDb - FALLING.depthDb && mean(12) - mean(0) > FALLING.quarterOctaveDb
}

const FALLING = { depthDb: 12, quarterOctaveDb: 2 } as const

/** Where a coupling capacitor is taken to stand before it is looked for; every line output has one, or a servo like it. */
const COUPLING: EdgeGuess = {
  part: { kind: 'edge', edge: { side: 'low', order: 1, isSquared: false, isAnalog: true } },
  lnCornerHz: Math.log(2),
  levelDb: 0,
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
    return isCertain[side] || isStillFalling(data, referenceDb, side) ? guesses : [null, ...guesses.slice(0, 2)]
  })
  const [lows, highs] = sides
  // Not each with each: the first of one side with all of the other.
  const pairs = [
    ...lows.map((low) => [low, highs[0]] as const),
    ...highs.slice(1).map((high) => [lows[0], high] as const),
    ...(lows[0] === null && highs[0] === null && lows.length > 1 && highs.length > 1
      ? [[lows[1], highs[1]] as const]
      : []),
  ]
  return pairs.map(([low, high]) => {
    const edges = [low ?? COUPLING, ...(high ? [high] : [])]
    const level = high?.levelDb ?? low?.levelDb ?? referenceDb
    return { parts: edges.map(({ part }) => part), values: [level, ...edges.map(({ lnCornerHz }) => lnCornerHz)] }
  })
}
