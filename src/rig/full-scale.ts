/**
 * Full scale of an input from readings of a meter and of the capture on the same lead, with its uncertainty by the GUM.
 *
 * Each reading is a steady sine: rms volts by the meter, peak by the capture as a fraction of full scale. Volts over peak
 * is the rms of the sine that would just reach full scale.
 */
import { DB_PER_NEPER, dbFromRatio, type Vrms } from '../units/level.js'
import { combine, meanOf, type Part, uFromLimits } from '../units/uncertainty.js'
import type { VoltsOfInput, VoltsPoint } from './calibration.js'

export interface VoltsReading {
  readonly meterVrms: number
  readonly peakFs: number
  /** Rms of all else on the lead over the tone's: a meter counts it in. */
  readonly restRatio: number
}

/** Readings at one frequency and level. */
export interface ReadingPoint {
  readonly freqHz: number
  readonly readings: readonly VoltsReading[]
}

export interface MeterAccuracy {
  readonly accuracyPct: number
  readonly accuracyVrms: number
}

export interface FullScale
  extends Pick<VoltsOfInput, 'fullScaleVrms' | 'expandedDb' | 'k' | 'dof' | 'budget' | 'points'> {}

export const FULL_SCALE_METHOD = 'full scale from meter and capture on one lead/1'

/**
 * @param points the first is the reference, the others (other levels, other frequencies) say how far it holds elsewhere
 * @throws RangeError when there is no reading, or one is not above 0
 *
 * Source: JCGM 100:2008. The meter's data sheet as limits of a rectangular distribution (4.3.7), the same in all readings, so
 * that many readings don't lower it; repeatability from the spread of the reference readings (4.2); what other levels and
 * frequencies differ by, and what hum and noise add to the meter's reading, as limits.
 */
export function fullScaleOf(points: readonly ReadingPoint[], meter: MeterAccuracy): FullScale {
  const seen = points.map(pointOf)
  const [reference, ...others] = seen
  const differences = (of: (point: Seen) => boolean): number =>
    Math.max(0, ...others.filter(of).map((other) => unexplained(reference, other, meter.accuracyVrms)))
  const specVrms = (meter.accuracyPct / 100) * reference.shown.meterVrms + meter.accuracyVrms
  const parts: Part[] = [
    limits('meter specification', (DB_PER_NEPER * specVrms) / reference.shown.meterVrms),
    { source: 'repeatability', u: reference.u, dof: reference.dof },
    limits('linearity between levels', differences(isAt(reference.shown.freqHz))),
    limits(
      'response between frequencies',
      differences((point) => !isAt(reference.shown.freqHz)(point)),
    ),
    limits('hum and noise beside the tone', DB_PER_NEPER * 0.5 * Math.log1p(reference.restRatio ** 2)),
  ].filter(({ u }) => u > 0)
  const { expanded, k, dof } = combine(parts)
  return {
    fullScaleVrms: reference.shown.fullScaleVrms,
    expandedDb: expanded,
    k,
    dof,
    budget: parts.map(({ source, u, dof: ownDof }) => ({ source, u, dof: ownDof })),
    points: seen.map(({ shown }) => shown),
  }
}

/** A difference counts where it is more than this many times what scatter and the meter make of it: 95 % of those stay below. */
const SEEN_OVER = 2

/**
 * How far two points differ; 0 where that is no more than what is in the budget already: the scatter of both, and the
 * meter's fixed part, which weighs more at a lower level.
 */
function unexplained(a: Seen, b: Seen, fixedVrms: number): number {
  const fixedDb = DB_PER_NEPER * fixedVrms * (1 / a.shown.meterVrms - 1 / b.shown.meterVrms)
  const knownDb = Math.hypot(a.u, b.u, uFromLimits(fixedDb, 'rectangular'))
  const differenceDb = Math.abs(a.meanDb - b.meanDb)
  return differenceDb > SEEN_OVER * knownDb ? differenceDb : 0
}

/** How far a found full scale is from what the rig file says, dB. */
export const offDb = (found: number, said: Vrms): number => dbFromRatio(found / said)

interface Seen {
  readonly shown: VoltsPoint
  /** Mean of full scale in dBV, its standard uncertainty and degrees of freedom. */
  readonly meanDb: number
  readonly u: number
  readonly dof: number
  readonly restRatio: number
}

function pointOf({ freqHz, readings }: ReadingPoint): Seen {
  const bad = readings.find(({ meterVrms, peakFs }) => !(meterVrms > 0 && peakFs > 0))
  if (readings.length === 0 || bad) {
    throw new RangeError(`fullScaleOf: ${readings.length} readings at ${freqHz} Hz, want one or more, all above 0`)
  }
  const values = readings.map(({ meterVrms, peakFs }) => dbFromRatio(meterVrms / peakFs))
  const { mean, u, dof } = meanOf(values)
  const meterVrms = meanOf(readings.map((reading) => reading.meterVrms)).mean
  const peakFs = meanOf(readings.map((reading) => reading.peakFs)).mean
  return {
    shown: {
      freqHz,
      meterVrms,
      levelDbfs: dbFromRatio(peakFs),
      fullScaleVrms: 10 ** (mean / 20),
      readingCount: readings.length,
      spreadDb: u * Math.sqrt(readings.length),
    },
    meanDb: mean,
    u,
    dof,
    restRatio: Math.max(...readings.map(({ restRatio }) => restRatio)),
  }
}

const limits = (source: string, halfWidthDb: number): Part => ({
  source,
  u: uFromLimits(halfWidthDb, 'rectangular'),
  dof: Number.POSITIVE_INFINITY,
})

const isAt =
  (freqHz: number) =>
  ({ shown }: Seen): boolean =>
    Math.abs(shown.freqHz / freqHz - 1) < 1e-6
