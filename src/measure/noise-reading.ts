/**
 * Reads the noise of a stretch: levels unweighted and through the usual weightings, bands, mains series, single lines, hiss.
 *
 * Averaged spectra with a Hann window, about half overlapped. Weighting is applied to the spectrum, where it has no error
 * at the top. Levels are rms as a fraction of a full-scale sine's rms (AES17).
 */
import { thirdOctaveBands } from '../dsp/bands.js'
import { room } from '../dsp/room.js'
import { aPowerGain, bs468PowerGain, CCIR_RMS_OVER_BS_468, cPowerGain } from '../dsp/weighting.js'
import type { Hiss, NoiseReading } from './analysis.js'
import { mainsSeries } from './mains-series.js'
import { type Stretch, singleLines } from './noise-lines.js'
import { averagedPower, floorAround, medianOverMean, type NoiseSpectrum, withoutTone } from './noise-spectrum.js'

export const NOISE_METHODS = {
  unweighted: 'noise 20 Hz to 20 kHz/2',
  aWeighted: 'noise A-weighted/2',
  cWeighted: 'noise C-weighted/1',
  bs468: 'noise by BS.468-4, rms/1',
  ccirRms: 'noise by BS.468-4 with unity gain at 2 kHz, rms/1',
  hum: 'hum, multiples of 50 or 60 Hz/2',
  lines: 'lines in the noise/2',
  hiss: 'hiss, noise without its lines/1',
} as const

/** The standard band (AES17-2015, 5.2.5), with ideal edges. */
const BAND_HZ = [20, 20_000] as const
const BANDS = thirdOctaveBands(20, 20_000)
/** Four to a third-octave band, so that their outer edges fall together: 40 to a decade. */
const FINE_PER_BAND = 4
const FINE_EDGE_HZ = Array.from(
  { length: FINE_PER_BAND * BANDS.length + 1 },
  (_, k) => 10 ** ((Math.round(40 * Math.log10(BANDS[0].lowHz)) + k) / 40),
)
const FINE_HZ = FINE_EDGE_HZ.slice(1).map((highHz, k) => Math.sqrt(FINE_EDGE_HZ[k] * highHz))

/**
 * @param samples one channel; freqExcludedHz: a tone in it that does not count as noise
 * @param samplesPerS the capture's rate on the player's clock
 * @throws RangeError when the stretch is shorter than one block of about 1.4 s
 */
export function readNoise(samples: Float32Array, samplesPerS: number, freqExcludedHz: number | null): NoiseReading {
  const tone = freqExcludedHz === null ? null : withoutTone(samples, freqExcludedHz, samplesPerS)
  const spectrum = averagedPower(tone?.rest ?? samples, samplesPerS)
  const { power, binHz } = spectrum
  if (freqExcludedHz !== null) takeOut(power, freqExcludedHz / binHz)
  const topHz = Math.min(BAND_HZ[1], 0.49 * samplesPerS)
  const [first, last] = [Math.round(BAND_HZ[0] / binHz), Math.round(topHz / binHz)]

  const series = [50, 60].map((freqHz) => mainsSeries(spectrum, freqHz)).sort((a, b) => b.over - a.over)[0]
  const hum = series.lineHz.length > 0 ? series : null
  const { lines, stretches } = singleLines(spectrum, first, last, hum?.measuredHz ?? null, freqExcludedHz)
  const steady = hum ? [...hum.stretches, ...stretches] : stretches
  const clean = withoutLines(spectrum, steady)
  const levels = weightedLevels(spectrum, clean, topHz, steady)

  const fineFs = bandLevels(power, binHz)
  const bandFs = BANDS.map((_, k) => Math.hypot(...fineFs.slice(FINE_PER_BAND * k, FINE_PER_BAND * (k + 1))))
  return {
    unweightedFs: levels[0].rmsFs,
    aWeightedFs: levels[1].rmsFs,
    cWeightedFs: levels[2].rmsFs,
    bs468Fs: levels[3].rmsFs,
    ccirRmsFs: levels[3].rmsFs * CCIR_RMS_OVER_BS_468,
    unweightedU: levels[0].u,
    aWeightedU: levels[1].u,
    cWeightedU: levels[2].u,
    bs468U: levels[3].u,
    relativeU: Math.max(levels[0].u, levels[1].u),
    bandHz: BANDS.map(({ centreHz }) => centreHz),
    bandFs,
    fine: { freqHz: FINE_HZ, rmsFs: fineFs },
    hum: hum && {
      freqHz: hum.freqHz,
      rmsFs: hum.rmsFs,
      aWeightedFs: hum.aWeightedFs,
      relativeU: hum.relativeU,
      lineHz: hum.lineHz,
    },
    humFloorFs: series.floorFs,
    lines,
    tonePeakFs: tone?.peakFs ?? null,
    hiss: hissOf(clean, binHz, levels[0].cleanFs, levels[1].cleanFs),
  }
}

interface Weights {
  readonly binHz: number
  /** A, C and BS.468 as gains of power, three for each bin. */
  readonly gains: Float64Array
}
let keptWeights: Weights | null = null

function weightsOf(binHz: number): Float64Array {
  if (keptWeights?.binHz !== binHz) {
    const gains = new Float64Array(3 * (Math.ceil(BAND_HZ[1] / binHz) + 2))
    for (let bin = 1; 3 * bin < gains.length; bin++) {
      const hz = bin * binHz
      gains[3 * bin] = aPowerGain(hz)
      gains[3 * bin + 1] = cPowerGain(hz)
      gains[3 * bin + 2] = bs468PowerGain(hz)
    }
    keptWeights = { binHz, gains }
  }
  return keptWeights.gains
}

/**
 * Levels in the band, unweighted and by A, C and BS.468, each with its relative standard uncertainty and its level without
 * lines. All in one pass: this runs for every input. Edge bins count by the share of them that lies inside.
 *
 * The variance of a sum of noise powers g p is the sum of (g p)^2 over the number of values that a bin is worth; the square
 * of an averaged power is by 1 / averageCount too large, on average. A steady line of power L adds 2 g^2 L p.
 */
function weightedLevels(
  { power, binHz, sumCount, averageCount }: NoiseSpectrum,
  clean: Float64Array,
  topHz: number,
  lines: readonly Stretch[],
): { rmsFs: number; cleanFs: number; u: number }[] {
  const gains = weightsOf(binHz)
  const [low, high] = [BAND_HZ[0] / binHz, topHz / binHz]
  const [first, last] = [Math.round(low), Math.round(high)]
  let [all, allA, allC, all468] = [0, 0, 0, 0]
  let [rest, restA] = [0, 0]
  let [square, squareA, squareC, square468] = [0, 0, 0, 0]
  for (let bin = first; bin <= last; bin++) {
    const share = bin === first ? first + 0.5 - low : bin === last ? high - last + 0.5 : 1
    const here = share * power[bin]
    const hiss = share * clean[bin]
    const a = gains[3 * bin]
    const c = gains[3 * bin + 1]
    const n = gains[3 * bin + 2]
    all += here
    allA += a * here
    allC += c * here
    all468 += n * here
    rest += hiss
    restA += a * hiss
    const hissSquare = hiss * hiss
    square += hissSquare
    squareA += a * a * hissSquare
    squareC += c * c * hissSquare
    square468 += n * n * hissSquare
  }
  const toNoise = 1 / (sumCount * (1 + 1 / averageCount))
  let [onLine, onLineA, onLineC, onLine468] = [0, 0, 0, 0]
  for (const { first: from, last: to, power: line, floor } of lines) {
    const bin = Math.min(last, Math.round((from + to) / 2))
    const beat = (2 * line * floor) / sumCount
    onLine += beat
    onLineA += beat * gains[3 * bin] ** 2
    onLineC += beat * gains[3 * bin + 1] ** 2
    onLine468 += beat * gains[3 * bin + 2] ** 2
  }
  // Halved from power to amplitude.
  const level = (sum: number, clear: number, squares: number, beats: number) => ({
    rmsFs: Math.sqrt(sum),
    cleanFs: Math.sqrt(clear),
    u: sum > 0 ? (0.5 * Math.sqrt(squares * toNoise + beats)) / sum : 0,
  })
  return [
    level(all, rest, square, onLine),
    level(allA, restA, squareA, onLineA),
    level(allC, 0, squareC, onLineC),
    level(all468, 0, square468, onLine468),
  ]
}

/** The spectrum with what lies around them in place of lines. Working room: gone at the next call. */
function withoutLines({ power, averageCount }: NoiseSpectrum, lines: readonly Stretch[]): Float64Array {
  const clean = room('noise clean', power.length)
  clean.set(power)
  // A strong line's skirts reach beyond the bins that hold its power.
  for (const { first, last, power: line, floor } of lines) {
    const skirt = Math.min(20, Math.ceil((line / Math.max(floor, line * 1e-12)) ** (1 / 6)))
    const mean = floorAround(power, (first + last) >> 1) / medianOverMean(averageCount)
    const to = Math.min(clean.length - 1, last + skirt)
    for (let bin = Math.max(1, first - skirt); bin <= to; bin++) clean[bin] = Math.min(clean[bin], floor || mean)
  }
  return clean
}

/** Rms in each fine band; a bin that an edge cuts is shared. Above half the rate there is nothing. */
function bandLevels(power: Float64Array, binHz: number): number[] {
  const out: number[] = []
  let bin = Math.round(FINE_EDGE_HZ[0] / binHz)
  let upTo = FINE_EDGE_HZ[0] / binHz
  for (let k = 1; k < FINE_EDGE_HZ.length; k++) {
    const edge = FINE_EDGE_HZ[k] / binHz
    let sum = 0
    while (bin < power.length && bin + 0.5 <= edge) {
      sum += power[bin] * (bin + 0.5 - upTo)
      upTo = bin + 0.5
      bin++
    }
    if (bin < power.length) sum += power[bin] * (edge - upTo)
    upTo = edge
    out.push(Math.sqrt(Math.max(0, sum)))
  }
  return out
}

/** Replaces a tone by what lies around it. */
function takeOut(power: Float64Array, place: number): void {
  const centre = Math.round(place)
  const floor = floorAround(power, centre)
  for (let bin = centre - 4; bin <= centre + 4; bin++) if (bin > 0) power[bin] = Math.min(power[bin], floor)
}

/** Slope of the density over the bands from 100 Hz to 12.5 kHz, by least squares with equal weights. */
function hissOf(clean: Float64Array, binHz: number, rmsFs: number, aWeightedFs: number): Hiss | null {
  if (!(rmsFs > 0)) return null
  const octaves: number[] = []
  const densityDb: number[] = []
  for (const { centreHz, lowHz, highHz } of BANDS) {
    const [from, to] = [Math.ceil(lowHz / binHz), Math.min(clean.length - 1, Math.floor(highHz / binHz))]
    if (centreHz < 99 || centreHz > 13_000 || to <= from) continue
    let sum = 0
    for (let bin = from; bin <= to; bin++) sum += clean[bin]
    if (!(sum > 0)) continue
    octaves.push(Math.log2(centreHz / 1000))
    densityDb.push(10 * Math.log10(sum / (to - from + 1)))
  }
  const count = octaves.length
  if (count < 3) return null
  const mean = (values: readonly number[]): number => values.reduce((sum, value) => sum + value, 0) / count
  const [middle, level] = [mean(octaves), mean(densityDb)]
  const spread = octaves.reduce((sum, x) => sum + (x - middle) ** 2, 0)
  const slope = octaves.reduce((sum, x, k) => sum + (x - middle) * (densityDb[k] - level), 0) / spread
  const stray = octaves.reduce((sum, x, k) => sum + (densityDb[k] - level - slope * (x - middle)) ** 2, 0)
  return {
    rmsFs,
    aWeightedFs,
    slopeDbPerOctave: slope,
    slopeU: Math.sqrt(stray / (count - 2) / spread),
    character: slope > 1.5 ? 'rising' : slope > -1.5 ? 'white' : slope > -4.5 ? 'pink-like' : 'steeper than pink',
  }
}
