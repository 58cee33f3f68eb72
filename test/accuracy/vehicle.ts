/**
 * A vehicle drawn by chance: the numbers that its two outputs are made from, and the map that it should match.
 *
 * The first output hears the left side and distorts; the second hears the right side, comes later and is equalised or band
 * limited. Every fourth vehicle splits one band between the two. Volts are those of a sine of 0 dBFS on the side heard.
 */
import type { Job } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'
import { butterworth, type Filter, linkwitzRiley, peaking } from '../kit/biquad.js'
import { normalFrom, uniformFrom } from '../kit/random.js'

export const RATE_HZ = 48_000
/** What the rig says of its volts, k = 2; each input is off by a draw from it. */
export const LEVEL_U_DB = 0.1

export interface DrawnSection {
  readonly freqHz: number
  readonly gainDb: number
  readonly q: number
}

export interface HumLine {
  readonly freqHz: number
  /** Over the rms of the output's noise. */
  readonly rmsOverNoise: number
}

export interface Vehicle {
  readonly seed: number
  readonly job: Job
  readonly levelVrms: readonly [number, number]
  readonly sign: readonly [1 | -1, 1 | -1]
  /** By how much each input of the card reads high. */
  readonly calibrationDb: readonly [number, number]
  /** Leads of the two outputs are exchanged. */
  readonly isExchanged: boolean
  /** Of the second output, in samples; what the base adds is a part of one. */
  readonly wholeSamples: number
  /** Right side that the first output hears, over the left one. */
  readonly leak: number
  /** The first output: x + a2 x² + a3 x³ of its source, or cut off at a peak. */
  readonly a2: number
  readonly a3: number
  readonly cutFs: number | null
  readonly filters: readonly [Filter, Filter]
  readonly sections: readonly DrawnSection[]
  /** A Linkwitz-Riley pair: what the first output leaves, the second has. */
  readonly isSplit: boolean
  readonly humHz: 50 | 60
  readonly hum: readonly HumLine[]
}

/** How the numbers are drawn: the table's ranges are these. */
export const DRAWN = {
  levelVrms: [0.5, 2],
  leakDb: [-70, -35],
  thd: [3e-5, 3e-3],
  cutDbfs: [-6, -0.4],
  delaySamples: [0, 300],
  sectionDb: [1, 9],
  sectionHz: [50, 10_000],
  sectionQ: [0.7, 5],
  splitHz: [300, 4000],
  bandHighHz: [1500, 8000],
  bandLowHz: [40, 300],
  humDbOverNoise: [-6, 14],
} as const

export function drawVehicle(seed: number): Vehicle {
  const uniform = uniformFrom(seed)
  const normal = normalFrom(seed + 0x5eed)
  const between = ([low, high]: readonly [number, number]): number => low + (high - low) * uniform()
  const along = ([low, high]: readonly [number, number]): number => low * (high / low) ** uniform()
  const signOf = (): 1 | -1 => (uniform() < 0.5 ? -1 : 1)

  const isSplit = seed % 4 === 0
  const isBanded = seed % 8 === 5
  const isCut = seed % 4 === 2
  const isHumming = seed % 4 === 3
  const thd = along(DRAWN.thd)
  // At the steady tone's peak H2 is a2 A / 2 of the fundamental, H3 a3 A² / 4. A split pair's gain must not depend on its level.
  const share = isSplit ? 0 : 2 * Math.PI * uniform()
  const peak = 10 ** (-3 / 20)
  const splitHz = Math.round(along(DRAWN.splitHz))
  const isHighPass = uniform() < 0.5
  const bandHz = Math.round(along(isHighPass ? DRAWN.bandLowHz : DRAWN.bandHighHz))
  const sections = isSplit || isBanded ? [] : sectionsOf(1 + Math.floor(4 * uniform()), between, along)
  const second: Filter = isSplit
    ? linkwitzRiley('low', 4, splitHz, RATE_HZ)
    : isBanded
      ? butterworth(isHighPass ? 'high' : 'low', 4, bandHz, RATE_HZ)
      : sections.map(({ freqHz, gainDb, q }) => peaking(freqHz, gainDb, q, RATE_HZ))
  const humHz = uniform() < 0.5 ? 50 : 60
  const ratio = 1 + 0.01 * (uniform() - 0.5)
  return {
    seed,
    job: jobOf(
      isSplit ? { low_hz: splitHz } : {},
      isSplit ? { high_hz: splitHz } : isBanded ? { [isHighPass ? 'low_hz' : 'high_hz']: bandHz } : {},
    ),
    levelVrms: [between(DRAWN.levelVrms), between(DRAWN.levelVrms)],
    sign: [signOf(), signOf()],
    calibrationDb: [normal() * (LEVEL_U_DB / 2), normal() * (LEVEL_U_DB / 2)],
    isExchanged: uniform() < 0.5,
    // The sum looks for a delay up to 3 ms to both sides.
    wholeSamples: Math.floor(between(DRAWN.delaySamples) * (isSplit ? 0.4 : 1)),
    leak: 10 ** (between(DRAWN.leakDb) / 20),
    a2: isCut ? 0 : (2 * thd * Math.cos(share)) / peak,
    a3: isCut ? 0 : (4 * thd * Math.sin(share)) / peak ** 2,
    cutFs: isCut ? 10 ** (between(DRAWN.cutDbfs) / 20) : null,
    filters: [isSplit ? linkwitzRiley('high', 4, splitHz, RATE_HZ) : [], second],
    sections,
    isSplit,
    humHz,
    hum: isHumming
      ? [1, 2, 3, 5, 7]
          .slice(0, 2 + Math.floor(4 * uniform()))
          .map((order) => ({ freqHz: order * humHz * ratio, rmsOverNoise: 10 ** (between(DRAWN.humDbOverNoise) / 20) }))
      : [],
  }
}

/** Apart by an octave and more, so that what each one is, is a question with an answer. */
function sectionsOf(
  count: number,
  between: (range: readonly [number, number]) => number,
  along: (range: readonly [number, number]) => number,
): DrawnSection[] {
  const [low, high] = DRAWN.sectionHz
  const edges = Array.from({ length: count + 1 }, (_, k) => low * (high / low) ** (k / count))
  return Array.from({ length: count }, (_, k) => ({
    freqHz: along([edges[k] * Math.SQRT2, edges[k + 1] / Math.SQRT2]),
    gainDb: between(DRAWN.sectionDb) * (between([0, 1]) < 0.5 ? -1 : 1),
    q: along(DRAWN.sectionQ),
  }))
}

type Band = Readonly<Record<string, number>>

function jobOf(first: Band, second: Band): Job {
  const band = (corners: Band): string =>
    Object.keys(corners).length === 0
      ? ''
      : `, band: { ${Object.entries(corners)
          .map(([side, hz]) => `${side}: ${hz}`)
          .join(', ')} }`
  return parseJob(
    'name: drawn\nvehicle: { model: drawn }\noutputs:\n' +
      `  - { number: 1, label: one, left: 1, right: 0, level_vrms: 1${band(first)} }\n` +
      `  - { number: 2, label: two, left: 0, right: 1, level_vrms: 1${band(second)} }\n`,
    'drawn.yaml',
  )
}
