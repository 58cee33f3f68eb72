/**
 * Finds what stands out of a noise spectrum: single lines, and what they look like.
 *
 * Powers are those of noise-spectrum.ts; a line's power is what stands over the floor around it.
 */
import { room } from '../dsp/room.js'
import type { NoiseLine } from './analysis.js'
import { floorAround, medianOverMean, type NoiseSpectrum, powerAround } from './noise-spectrum.js'

/** A line counts when it stands this far above what lies around it. */
export const LINE_OVER_DB = 14
/** Mains multiples beyond this order lie too thick to be told from other lines. */
const MAINS_ORDER_TOLD = 60
const LINES_MAX = 8
/** Bins about a line's place that hold all of it. */
export const REACH = 2
/** A line that wanders is sought in groups of bins: this many, and this far above the groups around. */
const GROUP = 16
const GROUP_OVER = 6
/** Power of a Hann window's skirt k bins away is below this / k^6, of a line's whole power: (2/3) / pi^2 from its transform. */
const SKIRT = 0.068
/** Lines are of one series from this many multiples on, of a fundamental above this: below, multiples lie too thick. */
const SERIES_COUNT = 3
const SERIES_HZ = 150

/** A piece of the spectrum that is not random: bins from first to last. */
export interface Stretch {
  readonly first: number
  readonly last: number
  readonly power: number
  /** What one bin of it would hold if nothing stood out. */
  readonly floor: number
}

/**
 * Relative standard uncertainty of the rms of lines: a line in noise beats with what falls on it (twice the product of their
 * powers), and the noise in the bins summed scatters by itself.
 */
export function lineU({ sumCount }: NoiseSpectrum, lines: readonly Stretch[]): number {
  let [sum, variance] = [0, 0]
  for (const { first, last, power, floor } of lines) {
    sum += power
    variance += (2 * power * floor + (last - first + 1) * floor * floor) / sumCount
  }
  return sum > 0 ? (0.5 * Math.sqrt(variance)) / sum : 0
}

/** The mean of one bin around a place: the median beside it, made a mean. */
const meanAround = ({ power, averageCount }: NoiseSpectrum, centre: number): number =>
  floorAround(power, centre) / medianOverMean(averageCount)

export function lineAt(spectrum: NoiseSpectrum, peak: number): Stretch {
  const floor = meanAround(spectrum, peak)
  const all = powerAround(spectrum.power, peak, REACH)
  return { first: peak - REACH, last: peak + REACH, floor, power: Math.max(0, all - (2 * REACH + 1) * floor) }
}

/** Place of a line between bins, by the centre of its power. */
export function centroid(power: Float64Array, first: number, last: number): number {
  let [sum, moment] = [0, 0]
  for (let bin = Math.max(0, first); bin <= last; bin++) {
    sum += power[bin]
    moment += bin * power[bin]
  }
  return sum > 0 ? moment / sum : (first + last) / 2
}

type Found = { readonly hz: number; readonly line: Stretch; readonly isSteady: boolean }

/**
 * The strongest lines that are no mains multiples.
 * @param mainsHz the fundamental of a mains series that was found
 * @param toneHz a tone that was taken out: its multiples are named as such
 */
export function singleLines(
  spectrum: NoiseSpectrum,
  first: number,
  last: number,
  mainsHz: number | null,
  toneHz: number | null,
): { lines: NoiseLine[]; stretches: Stretch[] } {
  const isMains = (hz: number): boolean =>
    mainsHz !== null && hz < (MAINS_ORDER_TOLD + 0.5) * mainsHz && Math.abs(hz - mainsHz * Math.round(hz / mainsHz)) < 2
  const narrow = steadyLines(spectrum, first, last)
  const steady = narrow.filter(({ hz }) => !isMains(hz))
  const wandering = wanderingLines(
    spectrum,
    first,
    last,
    narrow.map(({ line }) => line),
  ).filter(({ hz }) => toneHz === null || Math.abs(hz / toneHz - 1) > 0.05)
  const found = [...steady, ...wandering].sort((a, b) => b.line.power - a.line.power)
  const seriesOf = seriesAmong(found.slice(0, 3 * LINES_MAX), spectrum.binHz)
  const lines = found.slice(0, LINES_MAX).map(({ hz, line, isSteady }): NoiseLine => {
    const seriesHz = seriesOf(hz)
    const isOfTone = toneHz !== null && hz > 1.5 * toneHz && Math.abs(hz - toneHz * Math.round(hz / toneHz)) < 2
    const kind = isOfTone ? 'harmonic' : !isSteady || seriesHz !== null ? 'switching spur' : 'whistle'
    return { freqHz: hz, rmsFs: Math.sqrt(line.power), relativeU: lineU(spectrum, [line]), kind, seriesHz, isSteady }
  })
  return { lines, stretches: found.map(({ line }) => line) }
}

/** Lines that are as narrow as the window lets them be. */
function steadyLines(spectrum: NoiseSpectrum, first: number, last: number): Found[] {
  const { power, binHz } = spectrum
  const found: Found[] = []
  for (let bin = Math.max(first, 6) + 6; bin < last - 6; bin++) {
    const here = power[bin]
    // Quick looks before the median of many bins.
    if (here < power[bin - 1] || here < power[bin + 1]) continue
    if (here < 8 * Math.min(power[bin - 5], power[bin + 5])) continue
    const whole = powerAround(power, bin, REACH)
    if (whole <= 10 ** ((LINE_OVER_DB + 3) / 10) * 5 * floorAround(power, bin)) continue
    // To a fraction of a bin, so that multiples can be told; a line between two bins is found in both.
    const hz = centroid(power, bin - REACH, bin + REACH) * binHz
    const before = found.at(-1)
    if (before && hz - before.hz < 3 * binHz) {
      if (before.line.power < whole) found.pop()
      else continue
    }
    found.push({ hz, line: lineAt(spectrum, bin), isSteady: true })
  }
  return found
}

/**
 * Lines that wander while they are looked at, as a free-running converter's do: groups of bins that stand above the groups
 * around them, joined where they touch. What a strong steady line puts there by the window's skirts does not count.
 */
function wanderingLines(spectrum: NoiseSpectrum, first: number, last: number, steady: readonly Stretch[]): Found[] {
  const { power, binHz } = spectrum
  const groupCount = Math.floor((last - first + 1) / GROUP)
  const groups = room('noise groups', groupCount)
  for (let g = 0; g < groupCount; g++) {
    let sum = 0
    for (let bin = first + g * GROUP; bin < first + (g + 1) * GROUP; bin++) sum += power[bin]
    groups[g] = sum
  }
  const floorOf = (g: number): number => {
    const around: number[] = []
    for (let k = 3; k <= 10; k++)
      for (const at of [g - k, g + k]) if (at >= 0 && at < groupCount) around.push(groups[at])
    around.sort((x, y) => x - y)
    return around[around.length >> 1]
  }
  const isSkirt = (g: number): boolean =>
    steady.some((line) => {
      const middle = (line.first + line.last) / 2
      const from = first + g * GROUP
      const away = Math.max(1, from - middle, middle - (from + GROUP - 1))
      return groups[g] < 4 * GROUP * line.power * (SKIRT / away ** 6)
    })
  const found: Found[] = []
  for (let g = 3; g < groupCount - 3; g++) {
    // A quick look at two groups before the median of many.
    if (groups[g] <= GROUP_OVER * Math.min(groups[g - 3], groups[g + 3])) continue
    const floor = floorOf(g)
    if (groups[g] <= GROUP_OVER * floor || isSkirt(g)) continue
    let [from, to] = [g, g]
    while (from > 0 && g - from < 3 && groups[from - 1] > 2 * floor) from--
    while (to < groupCount - 1 && groups[to + 1] > 2 * floor) to++
    const [lowest, highest] = [first + from * GROUP, first + (to + 1) * GROUP - 1]
    const whole = powerAround(power, (lowest + highest + 1) >> 1, (highest - lowest + 1) >> 1)
    const line = {
      first: lowest,
      last: highest,
      floor: floor / GROUP,
      power: Math.max(0, whole - (highest - lowest + 2) * (floor / GROUP)),
    }
    found.push({ hz: centroid(power, lowest, highest) * binHz, line, isSteady: false })
    g = to
  }
  return found
}

/** For each frequency the fundamental that it shares with two others or more, as multiples of it; null where there is none. */
function seriesAmong(found: readonly Found[], binHz: number): (hz: number) => number | null {
  let best: { hz: number; members: number[] } | null = null
  for (const { hz } of found) {
    for (const divisor of [1, 2, 3]) {
      const fundamentalHz = hz / divisor
      if (fundamentalHz < SERIES_HZ) continue
      const members = found
        .map((one) => one.hz)
        .filter((other) => {
          const order = Math.round(other / fundamentalHz)
          return order >= 1 && Math.abs(other - order * fundamentalHz) < 0.7 * binHz * Math.max(1, order / divisor)
        })
      // Of equals the higher fundamental: every series is one of half its frequency as well.
      const isBetter = members.length > (best?.members.length ?? SERIES_COUNT - 1)
      const isHigher = members.length === best?.members.length && fundamentalHz > best.hz + binHz
      if (isBetter || isHigher) best = { hz: fundamentalHz, members }
    }
  }
  return (hz) => (best?.members.includes(hz) ? best.hz : null)
}
