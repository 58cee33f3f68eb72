/** Finds the mains series in a noise spectrum: multiples of 50 or 60 Hz that stand out of the noise around them. */
import { aPowerGain } from '../dsp/weighting.js'
import { centroid, LINE_OVER_DB, lineAt, lineU, REACH, type Stretch } from './noise-lines.js'
import { floorAround, type NoiseSpectrum, powerAround } from './noise-spectrum.js'

/** Mains may be off by 1 % (EN 50160, from memory) and the reading of a line by a little more. */
const MAINS_TOLERANCE = 0.012
const HUM_ORDER_MAX = 16

export interface MainsSeries {
  /** Nominal, and as its lines say. */
  readonly freqHz: number
  readonly measuredHz: number
  readonly rmsFs: number
  readonly aWeightedFs: number
  readonly floorFs: number
  /** Relative standard uncertainty of rmsFs. */
  readonly relativeU: number
  readonly lineHz: readonly number[]
  readonly stretches: readonly Stretch[]
  /** How far the whole series stands above its floor (dB). */
  readonly over: number
}

/** Multiples of a mains frequency: those that stand out, and what all of them hold at most. */
export function mainsSeries(spectrum: NoiseSpectrum, nominalHz: number): MainsSeries {
  const { power, binHz } = spectrum
  const found: { hz: number; line: Stretch; over: number; order: number }[] = []
  let [allPower, floorPower, foundWhole] = [0, 0, 0]
  for (let order = 1; order <= HUM_ORDER_MAX; order++) {
    const expectedHz = order * nominalHz
    const reach = Math.ceil((expectedHz * MAINS_TOLERANCE) / binHz)
    const centre = Math.round(expectedHz / binHz)
    let peak = centre
    for (let bin = centre - reach; bin <= centre + reach; bin++) if (power[bin] > power[peak]) peak = bin
    const floor = floorAround(power, peak)
    const whole = powerAround(power, peak, REACH)
    allPower += whole
    floorPower += 5 * floor
    const over = 10 * Math.log10(whole / Math.max(5 * floor, Number.MIN_VALUE))
    const hz = centroid(power, peak - REACH, peak + REACH) * binHz
    if (over > LINE_OVER_DB && Math.abs(hz / expectedHz - 1) < MAINS_TOLERANCE) {
      found.push({ hz, line: lineAt(spectrum, peak), over, order })
      foundWhole += whole
    }
  }
  // One line alone may be anything; a series has its first or second line and one more, or a first that towers.
  const isSeries =
    found.some(({ order }) => order <= 2) &&
    (found.length >= 2 || found.some(({ order, over }) => order === 1 && over > LINE_OVER_DB + 6))
  const sumOf = (of: (one: (typeof found)[number]) => number): number => found.reduce((sum, one) => sum + of(one), 0)
  const humPower = sumOf(({ line }) => line.power)
  const foundFloor = sumOf(({ line }) => 5 * line.floor)
  return {
    freqHz: nominalHz,
    measuredHz:
      sumOf(({ hz }) => hz) /
      Math.max(
        1,
        sumOf(({ order }) => order),
      ),
    rmsFs: Math.sqrt(humPower),
    aWeightedFs: Math.sqrt(sumOf(({ hz, line }) => line.power * aPowerGain(hz))),
    // A lone line on a multiple is none of the series, and says nothing of what the mains may add.
    floorFs: Math.sqrt(isSeries ? allPower : Math.max(0, allPower - foundWhole) + foundFloor),
    relativeU: lineU(
      spectrum,
      found.map(({ line }) => line),
    ),
    lineHz: isSeries ? found.map(({ hz }) => hz) : [],
    stretches: isSeries ? found.map(({ line }) => line) : [],
    over: isSeries ? 10 * Math.log10(humPower / Math.max(floorPower, Number.MIN_VALUE)) : -1,
  }
}
