/**
 * Reads the noise of a stretch: unweighted and A-weighted level, third-octave bands, mains series, single lines.
 *
 * Averaged spectra with a Hann window, half overlapped. Weighting is applied to the spectrum, where it has no error
 * at the top. Levels are rms as a fraction of a full-scale sine's rms (AES17).
 */
import { thirdOctaveBands } from '../dsp/bands.js'
import { realSpectrum } from '../dsp/fft.js'
import { project, takeOff } from '../dsp/projection.js'
import { room } from '../dsp/room.js'
import { HANN } from '../dsp/tables/harris-1978.js'
import { aWeightDb } from '../dsp/weighting.js'
import { cosineWindow } from '../dsp/windows.js'
import type { NoiseReading } from './analysis.js'

const BAND_HZ = [20, 20_000] as const
/** A line counts when it stands this far above what lies around it. */
const LINE_OVER_DB = 14
/** Mains may be off by 1 % (EN 50160, from memory) and the reading of a line by a little more. */
const MAINS_TOLERANCE = 0.012
const HUM_ORDER_MAX = 16

/**
 * @param samples one channel; freqExcludedHz: a tone in it that does not count as noise
 * @param samplesPerS the capture's rate on the player's clock
 */
export function readNoise(samples: Float32Array, samplesPerS: number, freqExcludedHz: number | null): NoiseReading {
  const tone = freqExcludedHz === null ? null : without(samples, freqExcludedHz, samplesPerS)
  const { power, binHz, averageCount } = averagedPower(tone?.rest ?? samples, samplesPerS)
  const topHz = Math.min(BAND_HZ[1], 0.49 * samplesPerS)
  const [first, last] = [Math.ceil(BAND_HZ[0] / binHz), Math.floor(topHz / binHz)]
  if (freqExcludedHz !== null) takeOut(power, freqExcludedHz / binHz)

  const weight = weights(binHz)
  let [unweighted, weighted] = [0, 0]
  for (let bin = first; bin <= last; bin++) {
    unweighted += power[bin]
    weighted += power[bin] * weight[bin]
  }
  const bands = thirdOctaveBands(20, 20_000)
  const bandFs = bands.map(({ lowHz, highHz }) => {
    let sum = 0
    for (let bin = Math.ceil(lowHz / binHz); bin < Math.min(highHz / binHz, power.length); bin++) sum += power[bin]
    return Math.sqrt(sum)
  })
  const series = [50, 60].map((freqHz) => mainsSeries(power, binHz, freqHz)).sort((a, b) => b.over - a.over)[0]
  const hum = series.lineHz.length > 0 ? series : null
  const lines = singleLines(power, binHz, first, last, hum ? hum.measuredHz : null)
  // The spread of what is random: lines are steady and add none.
  const random = power.slice(first, last + 1)
  for (const hz of [...lines.map(({ freqHz }) => freqHz), ...(hum?.lineHz ?? [])]) {
    random.fill(0, Math.max(0, Math.round(hz / binHz) - 3 - first), Math.max(0, Math.round(hz / binHz) + 4 - first))
  }
  const spread = (gain: (bin: number) => number, total: number): number => {
    const squares = random.reduce((sum, value, k) => sum + (value * gain(first + k)) ** 2, 0)
    return total > 0 ? (0.5 * Math.sqrt(squares / averageCount)) / total : 0
  }
  return {
    unweightedFs: Math.sqrt(unweighted),
    aWeightedFs: Math.sqrt(weighted),
    // Each bin has about averageCount independent values; the spread of their sum, halved from power to amplitude.
    relativeU: Math.max(
      spread(() => 1, unweighted),
      spread((bin) => weight[bin], weighted),
    ),
    bandHz: bands.map(({ centreHz }) => centreHz),
    bandFs,
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
  }
}

/** Mean square for each bin, as a fraction of a full-scale sine's (so a full-scale sine sums to 1). */
function averagedPower(samples: Float32Array | Float64Array, samplesPerS: number) {
  // About 0.7 Hz a bin at any rate: hum lines stand apart, and a few seconds still give several averages.
  const size = 2 ** Math.round(Math.log2(1.4 * samplesPerS))
  if (samples.length < size) throw new RangeError(`readNoise: ${samples.length} samples, want ${size} or more`)
  const window = hannOf(size)
  // Mean square of a Hann window over a whole period: 3 / 8.
  const windowPower = 0.375 * size
  const count = 1 + Math.floor((samples.length - size) / (size / 2))
  const power = new Float64Array(size / 2 + 1)
  const block = room('noise samples', size)
  for (let i = 0; i < count; i++) {
    const from = Math.floor((i * (samples.length - size)) / Math.max(1, count - 1))
    let mean = 0
    for (let n = 0; n < size; n++) mean += samples[from + n] / size
    for (let n = 0; n < size; n++) block[n] = window[n] * (samples[from + n] - mean)
    const spectrum = realSpectrum(block, size, room('noise spectrum', size + 2))
    for (let bin = 0; bin <= size / 2; bin++) power[bin] += spectrum[2 * bin] ** 2 + spectrum[2 * bin + 1] ** 2
  }
  // One-sided mean square 2 |X|^2 / (N sum w^2), doubled again because a full-scale sine's mean square is 1/2.
  const scale = 4 / (size * windowPower * count)
  for (let bin = 0; bin < power.length; bin++) power[bin] *= scale
  // Neighbours of a Hann bin are alike: about 2/3 of the bins, and of half-overlapped blocks nearly all, are independent.
  return { power, binHz: samplesPerS / size, averageCount: Math.max(1, 0.6 * count) }
}

let keptWindow: Float64Array | null = null

function hannOf(size: number): Float64Array {
  if (keptWindow?.length !== size) keptWindow = cosineWindow(HANN, size)
  return keptWindow
}

let weightCache: { binHz: number; values: Float64Array } | null = null

/** A-weighting as a power gain for each bin up to 20 kHz. */
function weights(binHz: number): Float64Array {
  if (weightCache?.binHz !== binHz) {
    const values = Float64Array.from({ length: Math.ceil(BAND_HZ[1] / binHz) + 2 }, (_, bin) =>
      bin === 0 ? 0 : 10 ** (aWeightDb(bin * binHz) / 10),
    )
    weightCache = { binHz, values }
  }
  return weightCache.values
}

const powerAround = (power: Float64Array, centre: number, reach: number): number => {
  let sum = 0
  for (let bin = Math.max(1, centre - reach); bin <= Math.min(power.length - 1, centre + reach); bin++)
    sum += power[bin]
  return sum
}

/** What one bin holds around a place, by the median of bins beside it. */
function floorAround(power: Float64Array, centre: number): number {
  const beside: number[] = []
  for (let k = 5; k <= 16; k++) {
    for (const bin of [centre - k, centre + k]) if (bin > 1 && bin < power.length) beside.push(power[bin])
  }
  beside.sort((a, b) => a - b)
  return beside[Math.floor(beside.length / 2)] ?? 0
}

/** Replaces a tone by what lies around it. */
function takeOut(power: Float64Array, place: number): void {
  const centre = Math.round(place)
  const floor = floorAround(power, centre)
  for (let bin = centre - 4; bin <= centre + 4; bin++) if (bin > 0) power[bin] = Math.min(power[bin], floor)
}

/** Place of a line between bins, by the centre of its power. */
function centroid(power: Float64Array, peak: number): number {
  let [sum, moment] = [0, 0]
  for (let bin = peak - 2; bin <= peak + 2; bin++) {
    sum += power[bin]
    moment += bin * power[bin]
  }
  return sum > 0 ? moment / sum : peak
}

/**
 * The samples without a tone of known frequency, by its least-squares fit: a window's skirts would leave more of it than
 * a quiet card has noise.
 */
function without(samples: Float32Array, freqHz: number, samplesPerS: number): { rest: Float64Array; peakFs: number } {
  const stepRad = (2 * Math.PI * freqHz) / samplesPerS
  const count = samples.length
  // Sums of cos², sin² and cos × sin in closed form, by the sum of a geometric series at twice the angle.
  const [turn, scale] = [stepRad * (count - 1), Math.sin(stepRad * count) / Math.sin(stepRad)]
  const cc = 0.5 * (count + scale * Math.cos(turn))
  const ss = 0.5 * (count - scale * Math.cos(turn))
  const cs = 0.5 * scale * Math.sin(turn)
  const { cosine, sine } = project(samples, 0, count, stepRad)
  const determinant = cc * ss - cs * cs
  const rest = Float64Array.from(samples)
  const [a, b] = [(cosine * ss - sine * cs) / determinant, (sine * cc - cosine * cs) / determinant]
  takeOff(rest, stepRad, a, b)
  return { rest, peakFs: Math.hypot(a, b) }
}

interface Series {
  /** Nominal, and as its lines say. */
  readonly freqHz: number
  readonly measuredHz: number
  readonly rmsFs: number
  readonly aWeightedFs: number
  readonly floorFs: number
  readonly relativeU: number
  readonly lineHz: readonly number[]
  /** How far the whole series stands above its floor (dB). */
  readonly over: number
}

/** Multiples of a mains frequency: those that stand out, and what all of them hold at most. */
function mainsSeries(power: Float64Array, binHz: number, nominalHz: number): Series {
  const found: { hz: number; power: number; floor: number; over: number; order: number }[] = []
  let [allPower, floorPower] = [0, 0]
  for (let order = 1; order <= HUM_ORDER_MAX; order++) {
    const expectedHz = order * nominalHz
    const reach = Math.ceil((expectedHz * MAINS_TOLERANCE) / binHz)
    const centre = Math.round(expectedHz / binHz)
    let peak = centre
    for (let bin = centre - reach; bin <= centre + reach; bin++) if (power[bin] > power[peak]) peak = bin
    const floor = floorAround(power, peak)
    const line = powerAround(power, peak, 2)
    allPower += line
    floorPower += 5 * floor
    const over = 10 * Math.log10(line / Math.max(5 * floor, Number.MIN_VALUE))
    const hz = centroid(power, peak) * binHz
    if (over > LINE_OVER_DB && Math.abs(hz / expectedHz - 1) < MAINS_TOLERANCE) {
      found.push({ hz, power: line, floor: 5 * floor, over, order })
    }
  }
  // One line alone may be anything; a series has its first or second line and one more, or a first that towers.
  const isSeries =
    found.some(({ order }) => order <= 2) &&
    (found.length >= 2 || found.some(({ order, over }) => order === 1 && over > LINE_OVER_DB + 6))
  const humPower = found.reduce((sum, line) => sum + line.power, 0)
  return {
    freqHz: nominalHz,
    measuredHz:
      found.reduce((sum, { hz }) => sum + hz, 0) /
      Math.max(
        1,
        found.reduce((sum, { order }) => sum + order, 0),
      ),
    rmsFs: Math.sqrt(humPower),
    aWeightedFs: Math.sqrt(found.reduce((sum, line) => sum + line.power * 10 ** (aWeightDb(line.hz) / 10), 0)),
    // A lone line on a multiple is none of the series, and says nothing of what the mains may add.
    floorFs: Math.sqrt(isSeries ? allPower : allPower - humPower + found.reduce((sum, line) => sum + line.floor, 0)),
    relativeU: Math.sqrt(found.reduce((sum, line) => sum + line.floor, 0) / Math.max(humPower, Number.MIN_VALUE)),
    lineHz: isSeries ? found.map(({ hz }) => hz) : [],
    over: isSeries ? 10 * Math.log10(humPower / Math.max(floorPower, Number.MIN_VALUE)) : -1,
  }
}

/** The five strongest lines that are no mains multiples. */
function singleLines(power: Float64Array, binHz: number, first: number, last: number, mainsHz: number | null) {
  const lines: { freqHz: number; rmsFs: number }[] = []
  for (let bin = first + 6; bin < last - 6; bin++) {
    if (power[bin] < power[bin - 1] || power[bin] < power[bin + 1]) continue
    const hz = bin * binHz
    if (mainsHz !== null && Math.abs(hz - mainsHz * Math.round(hz / mainsHz)) < 2) continue
    // A quick look at two bins before the median of many.
    if (power[bin] < 8 * Math.min(power[bin - 5], power[bin + 5])) continue
    const line = powerAround(power, bin, 2)
    if (line > 10 ** ((LINE_OVER_DB + 3) / 10) * 5 * floorAround(power, bin))
      lines.push({ freqHz: hz, rmsFs: Math.sqrt(line) })
  }
  return lines.sort((a, b) => b.rmsFs - a.rmsFs).slice(0, 5)
}
