/**
 * What a running engine adds to an output's noise: a take with the engine running against one with it stopped.
 *
 * Alternator whine is a harmonic series at 6 p n / 60 Hz for p pole pairs at n turns a minute; it moves with the engine. What
 * was there before the engine ran is not counted.
 */
import { DB_PER_NEPER, dbFromRatio } from '../units/level.js'
import type { NoiseLine, NoiseReading } from './analysis.js'
import { trackWhine, type WhineTrack } from './whine-track.js'

export const ENGINE_NOISE_METHODS = {
  whine: 'alternator whine, series followed through short spectra/1',
  rise: 'noise with the engine running over stopped/1',
} as const

export interface Whine {
  /** Lowest and highest frequency of its fundamental while it was heard; alike where it stands still. */
  readonly lowHz: number
  readonly highHz: number
  /** Standard uncertainty of both (Hz). */
  readonly freqU: number
  /** Of its fundamental; a series of one has 1 only. */
  readonly orders: readonly number[]
  /** Rms of the whole series, fraction of a full-scale sine's, and its relative standard uncertainty. */
  readonly rmsFs: number
  readonly relativeU: number
  /** It moved while it was heard: the engine's speed did, and nothing else in a vehicle does. */
  readonly isMoving: boolean
}

export interface EngineNoise {
  readonly whine: Whine | null
  /** Other lines that are there only with the engine running. */
  readonly lines: readonly NoiseLine[]
  /** Rms with the engine over rms without, all in (dB), and standard uncertainty (dB). Null over digital silence. */
  readonly riseDb: number | null
  readonly riseDbU: number
  /** The same without hum, whine and new lines: hiss. Null where these leave nothing that could be read. */
  readonly hissRiseDb: number | null
  readonly hissRiseDbU: number
}

/** A line is new when it stands this far over one at its place without the engine. */
const NEW_OVER_DB = 6
/** Two readings of one line agree within this (Hz), or this share of a fundamental's frequency. */
const SAME_HZ = 1.5
/** It moves when its ends differ by this many uncertainties, and by more than a quartz or the mains could. */
const MOVES_OVER_U = 6
const MOVES_OVER_RATIO = 0.001
/** Below this share of the power, what is left when lines are taken off says nothing. */
const LEFT_MIN = 0.02

/**
 * @param samples the silence of a take with the engine running; samplesPerS its rate on the player's clock
 * @param running what was read from these samples; stopped: the same output's silence with the engine stopped
 */
export function engineNoise(
  samples: Float32Array,
  samplesPerS: number,
  running: NoiseReading,
  stopped: NoiseReading,
): EngineNoise {
  const known = [
    ...stopped.lines.map(({ freqHz }) => freqHz),
    ...(stopped.hum?.lineHz ?? []),
    ...(running.hum?.lineHz ?? []),
  ]
  const fresh = running.lines.filter((line) => isNew(line, stopped))
  const track = trackWhine(samples, samplesPerS, known)
  const whine = track ? ofTrack(track) : ofLines(fresh)
  const others = fresh.filter(({ freqHz }) => !whine || !isOfSeries(freqHz, whine))
  const square = ({ rmsFs }: { readonly rmsFs: number }): number => rmsFs * rmsFs
  const [all, before] = [running.unweightedFs ** 2, stopped.unweightedFs ** 2]
  const [named, namedBefore] = [
    (running.hum ? square(running.hum) : 0) +
      (whine ? square(whine) : 0) +
      others.reduce((sum, l) => sum + square(l), 0),
    stopped.hum ? square(stopped.hum) : 0,
  ]
  const [left, leftBefore] = [all - named, before - namedBefore]
  const isReadable = left > LEFT_MIN * all && leftBefore > LEFT_MIN * before
  const leftU =
    Math.hypot(2 * running.unweightedU * all, 2 * (whine?.relativeU ?? 0) * (whine ? square(whine) : 0)) / left
  const leftBeforeU = (2 * stopped.unweightedU * before) / leftBefore
  return {
    whine,
    lines: others,
    riseDb: before > 0 && all > 0 ? dbFromRatio(running.unweightedFs / stopped.unweightedFs) : null,
    riseDbU: DB_PER_NEPER * Math.hypot(running.unweightedU, stopped.unweightedU),
    hissRiseDb: isReadable ? 10 * Math.log10(left / leftBefore) : null,
    hissRiseDbU: isReadable ? (DB_PER_NEPER / 2) * Math.hypot(leftU, leftBeforeU) : 0,
  }
}

function isNew(line: NoiseLine, stopped: NoiseReading): boolean {
  if (stopped.hum?.lineHz.some((hz) => Math.abs(hz - line.freqHz) < SAME_HZ)) return false
  const before = stopped.lines.find(
    ({ freqHz, isSteady }) => Math.abs(freqHz - line.freqHz) < (isSteady && line.isSteady ? SAME_HZ : 0.02 * freqHz),
  )
  if (before) return dbFromRatio(line.rmsFs / before.rmsFs) > NEW_OVER_DB
  // Too weak to be named there, it may yet have been: the band that it lies in then held as much.
  const band = stopped.fine.freqHz.findIndex((hz) => line.freqHz < hz * 10 ** (1 / 80))
  return band >= 0 && line.rmsFs > 0.5 * stopped.fine.rmsFs[band]
}

const isOfSeries = (hz: number, { lowHz, highHz, orders }: Whine): boolean =>
  orders.some((order) => hz > order * lowHz - 0.01 * hz - SAME_HZ && hz < order * highHz + 0.01 * hz + SAME_HZ)

function ofTrack({ freqHz, freqU, orders, powers, powerU }: WhineTrack): Whine {
  // Three blocks at a time: half overlapped, they hold two values' worth.
  const smooth = freqHz.slice(1, -1).map((_, i) => (freqHz[i] + freqHz[i + 1] + freqHz[i + 2]) / 3)
  const [lowHz, highHz] = [Math.min(...smooth), Math.max(...smooth)]
  const ownU = freqU / Math.SQRT2
  const power = powers.reduce((sum, value) => sum + value, 0)
  return {
    lowHz,
    highHz,
    freqU: ownU,
    orders,
    rmsFs: Math.sqrt(power),
    relativeU: (0.5 * powerU) / power,
    isMoving: highHz - lowHz > Math.max(MOVES_OVER_U * ownU, MOVES_OVER_RATIO * highHz),
  }
}

/** Steady new lines of one series, or the strongest of a kind that short spectra are too coarse for. */
function ofLines(fresh: readonly NoiseLine[]): Whine | null {
  const seriesHz = fresh.find((line) => line.seriesHz !== null)?.seriesHz
  if (seriesHz === null || seriesHz === undefined) return null
  const members = fresh.filter((line) => line.seriesHz === seriesHz)
  const power = members.reduce((sum, { rmsFs }) => sum + rmsFs ** 2, 0)
  return {
    lowHz: seriesHz,
    highHz: seriesHz,
    freqU: 0.5,
    orders: members.map(({ freqHz }) => Math.round(freqHz / seriesHz)).sort((a, b) => a - b),
    rmsFs: Math.sqrt(power),
    relativeU: Math.hypot(...members.map(({ rmsFs, relativeU }) => rmsFs ** 2 * relativeU)) / power,
    isMoving: false,
  }
}
