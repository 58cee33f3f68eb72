/** What the takes of a rig check say of each input, and of the card's rate. */
import { areSame, findProbe, type InputReading, readInput } from '../measure/input-check.js'
import { SAMPLE_RATES_HZ } from '../rig/schema-sound.js'
import { LEAD_PROBE_DBFS } from '../stimulus/lead-probe.js'
import type { Audio } from '../units/audio.js'
import { ratioFromDb } from '../units/level.js'
import { loudestRms } from './soft-start.js'

/** As quiet as the probe of a run. */
export const PROBE_DBFS = LEAD_PROBE_DBFS
/** One in the lows, one in the middle, one in the highs, so that every output has one in its band; none is a mains multiple. */
export const PROBE_TONES = { leftHz: [997, 75, 6300], rightHz: [1151, 90, 7340] } as const
/** Each of the tones of a side, so that their peaks add up to the probe's level. */
export const TONE_PEAK_FS = ratioFromDb(PROBE_DBFS) / PROBE_TONES.leftHz.length
/** Part of the probe that is read. */
const WINDOW_S = 1
/** Music has to be this much over the floor to count as heard. */
const BY_HAND_OVER = 2
/** So many of the six tones at a wrong place are no chance. */
const OTHER_RATE_TONES_MIN = 3

export interface InputState extends InputReading {
  readonly inputNumber: number
  readonly side: 'left' | 'right' | 'both' | null
  readonly isHeard: boolean
  /** Level that a full-scale tone would have at this input, over that of a full-scale sine; null where it isn't known. */
  readonly atFullFs: number | null
  /** Another input that holds the same samples. */
  readonly sameAs: number | null
}

export interface InputStates {
  readonly inputs: readonly InputState[]
  /** A rate that makes the tones come out right; null: the one that was asked for does, or none. */
  readonly toneRateHz: number | null
}

/** @param isByHand a person started what was played, so that there are no tones to look for */
export function readInputs(rest: Audio, take: Audio, isByHand: boolean): InputStates {
  const asSaid = readAt(rest, take, 1, isByHand)
  if (isByHand || asSaid.some(({ isHeard }) => isHeard)) return { inputs: asSaid, toneRateHz: null }
  for (const rateHz of SAMPLE_RATES_HZ) {
    if (rateHz === take.sampleRateHz) continue
    // A card at another rate than its samples are taken for moves every tone by the ratio of both.
    const inputs = readAt(rest, take, take.sampleRateHz / rateHz, false)
    if (
      inputs.some(
        ({ left, right }) => [...left, ...right].filter(({ isHeard }) => isHeard).length >= OTHER_RATE_TONES_MIN,
      )
    ) {
      return { inputs, toneRateHz: rateHz }
    }
  }
  return { inputs: asSaid, toneRateHz: null }
}

function readAt(rest: Audio, take: Audio, ratio: number, isByHand: boolean): InputState[] {
  const { sampleRateHz } = take
  const below = (freqHz: number): boolean => freqHz < 0.45 * sampleRateHz
  const tones = {
    leftHz: PROBE_TONES.leftHz.map((freqHz) => freqHz * ratio).filter(below),
    rightHz: PROBE_TONES.rightHz.map((freqHz) => freqHz * ratio).filter(below),
  }
  const all = [...tones.leftHz, ...tones.rightHz]
  const first = findProbe(take.channels, rest.channels, all, WINDOW_S, sampleRateHz)
  const stretch = { first, count: Math.round(WINDOW_S * sampleRateHz) }
  const readings = take.channels.map((channel, k) => readInput(rest.channels[k], channel, stretch, tones, sampleRateHz))
  return readings.map((reading, k): InputState => {
    const [isLeft, isRight] = [reading.left, reading.right].map((side) => side.some(({ isHeard }) => isHeard))
    const loudestFs = Math.max(...[...reading.left, ...reading.right].map(({ peakFs }) => peakFs))
    const isTone = !isByHand && (isLeft || isRight)
    const same = readings.findIndex(
      ({ stuck }, other) =>
        other !== k &&
        stuck === null &&
        reading.stuck === null &&
        areSame(rest.channels[k], rest.channels[other]) &&
        areSame(take.channels[k], take.channels[other]),
    )
    return {
      ...reading,
      inputNumber: k + 1,
      side: !isTone ? null : isLeft && isRight ? 'both' : isLeft ? 'left' : 'right',
      isHeard: isByHand ? isLouder(take.channels[k], reading, sampleRateHz) : isTone,
      atFullFs: isTone ? loudestFs / TONE_PEAK_FS : null,
      sameAs: same < 0 ? null : same + 1,
    }
  })
}

/** Twice the floor for half a second at least. */
const isLouder = (channel: Float32Array, { stuck, floorFs }: InputReading, sampleRateHz: number): boolean =>
  stuck === null && Math.SQRT2 * loudestRms(channel, sampleRateHz) > BY_HAND_OVER * floorFs
