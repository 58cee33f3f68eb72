/** Readings of the harness's pins against what the job's table expects, each as a check and as a row of the table. */
import { colourWords } from '../job/iec-60757.js'
import { type PinFunction, type PinReading, type PinSpec, pinId } from '../job/pins.js'
import { estimate } from '../measure/estimate.js'
import type { MeterSpec } from '../rig/rig.js'
import { plain } from '../units/words.js'
import { figureOf, held } from './decision.js'
import type { Check, Verdict } from './parts.js'

export const FUNCTION_WORDS: Readonly<Record<PinFunction, string>> = {
  constant_supply: 'constant supply',
  ground: 'ground',
  remote_out: 'remote turn-on',
  ignition_in: 'ignition',
  accessory_in: 'accessory',
  data_high: 'data high',
  data_low: 'data low',
  line_output: 'line output',
  speaker: 'speaker',
  not_connected: 'not connected',
  restraint: 'restraint',
}

/** What the meter said at one reading. */
export interface PinRead {
  /** null: no number; see why. */
  readonly value: number | null
  /** open: overload in ohms. live: volts were there, so ohms were not read. */
  readonly why: 'open' | 'live' | null
  /** Standard uncertainty from the spread of several readings, 0 for a settled one. */
  readonly spreadU: number
  /** Volts before ohms; null where none were asked for. */
  readonly voltsBefore: number | null
}

export interface PinJudged {
  readonly spec: PinSpec
  readonly reading: PinReading
  /** null: left out at the bench. */
  readonly read: PinRead | null
  readonly check: Check
}

/** The same wherever a reading is meant: C1-4 ohms off. */
export const readingKey = (spec: PinSpec, { quantity, ignition }: Pick<PinReading, 'quantity' | 'ignition'>): string =>
  `${pinId(spec)} ${quantity} ${ignition}`

/** Lead and contact resistance of a meter's own leads, which a two-wire reading cannot tell: common practice, no source. */
const LEADS_OHM = 0.2
/** A ground that has more than this is no ground. */
const GROUND_LIVE_V = 1
const METHOD = 'pin of the harness by the meter, settled/1'

export const judgePins = (
  pins: readonly PinSpec[],
  reads: ReadonlyMap<string, PinRead>,
  meter: Pick<MeterSpec, 'accuracyPct' | 'accuracyVrms'>,
): PinJudged[] =>
  pins.flatMap((spec) =>
    spec.readings.map((reading) => {
      const read = reads.get(readingKey(spec, reading)) ?? null
      return { spec, reading, read, check: checkOf(spec, reading, read, meter) }
    }),
  )

export function checkOf(
  spec: PinSpec,
  reading: PinReading,
  read: PinRead | null,
  meter: Pick<MeterSpec, 'accuracyPct' | 'accuracyVrms'>,
): Check {
  const { quantity, min, max } = reading
  const base = { name: `pin ${pinId(spec)}, ${stateWords(reading)}`, expected: expectedWords(reading) }
  if (read === null) {
    return { ...base, verdict: 'unsure', figure: null, measured: 'not read', why: 'Left out at the bench.' }
  }
  if (read.why === 'live') {
    const volts = read.voltsBefore!
    const isWrong = spec.function === 'ground' && Math.abs(volts) > GROUND_LIVE_V
    const measured = `not read: ${inPinUnit(volts, 'dcVolts')} there`
    const why = 'Ohms mean nothing where volts are.'
    return { ...base, verdict: isWrong ? 'fail' : 'unsure', figure: null, measured, why }
  }
  if (read.value === null) {
    const verdict: Verdict = max === null ? 'pass' : 'fail'
    const why = verdict === 'pass' ? '' : 'The circuit is open.'
    return { ...base, verdict, figure: null, measured: 'open', why }
  }
  const fixed = quantity === 'dcVolts' ? meter.accuracyVrms : LEADS_OHM
  const from = estimate(
    read.value,
    {
      // The data sheet's limits taken as rectangular: GUM 4.3.7.
      'meter specification': ((meter.accuracyPct / 100) * Math.abs(read.value) + fixed) / Math.sqrt(3),
      'spread of readings': read.spreadU,
    },
    METHOD,
  )
  const verdict = held(read.value, from.u, { ...(min === null ? {} : { min }), ...(max === null ? {} : { max }) })
  const isLow = min !== null && read.value < min
  const why = {
    pass: '',
    fail: `It is too ${isLow ? 'low' : 'high'}.`,
    unsure: "The limit lies within the meter's uncertainty.",
  }
  return {
    ...base,
    verdict,
    figure: figureOf(
      `${pinId(spec)} ${quantity === 'ohms' ? 'resistance' : 'voltage'}`,
      quantity === 'ohms' ? 'Ω' : 'V',
      from,
    ),
    measured: inPinUnit(read.value, quantity),
    why: why[verdict],
  }
}

export function stateWords({ quantity, ignition, across, isLoaded }: PinReading): string {
  const what = quantity === 'ohms' ? 'ohms' : isLoaded ? 'drop under load' : 'volts'
  return `${what}${across ? ` to ${pinId(across)}` : ''}, ignition ${ignition}`
}

export function expectedWords({ quantity, min, max }: Pick<PinReading, 'quantity' | 'min' | 'max'>): string {
  const word = (value: number): string => inPinUnit(value, quantity)
  if (min === null) return `at most ${word(max!)}`
  // Nothing is below nothing.
  if (max !== null && quantity === 'ohms' && min <= 0) return `at most ${word(max)}`
  if (max !== null && min === -max) return `within ± ${word(max)}`
  return max === null ? `at least ${word(min)}` : `${word(min)} to ${word(max)}`
}

export function inPinUnit(value: number, quantity: PinReading['quantity']): string {
  const size = Math.abs(value)
  if (quantity === 'dcVolts') return `${plain(value, size >= 9.995 ? 1 : 2)} V`
  if (size >= 1e6) return `${plain(value / 1e6, 2)} MΩ`
  if (size >= 1e4) return `${plain(value / 1e3, 1)} kΩ`
  return `${plain(value, size >= 100 ? 0 : size >= 10 ? 1 : 2)} Ω`
}

/** C1-4 (data high, GN). */
export const pinWords = (spec: PinSpec): string =>
  `${pinId(spec)} (${[FUNCTION_WORDS[spec.function], ...(spec.colour === null ? [] : [spec.colour])].join(', ')})`

export const colourCell = ({ colour }: PinSpec): string => (colour === null ? '–' : colourWords(colour))
