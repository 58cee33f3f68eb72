/**
 * One complex signal that stands for all inputs of a take, for finding the track.
 *
 * Inputs are scaled to equal rms and turned by the golden angle each, so that two of opposite polarity don't cancel and
 * a loud one doesn't hide the rest. What is linear in one input is linear in the mix.
 */
import type { Audio } from '../units/audio.js'
import { frameCountOf } from '../units/audio.js'

/** Float32, since a long recording is long; sums are made in double precision. */
export interface Complex {
  readonly re: Float32Array
  readonly im: Float32Array
}

/** The factor of each input. */
export interface Turn {
  readonly re: number
  readonly im: number
}

const GOLDEN_ANGLE_RAD = Math.PI * (3 - Math.sqrt(5))

/** Of each so many samples the first so many are looked at for an input's rms. */
const LOOK = { every: 1024, count: 64 } as const
/** An input whose level moves less than this is steady noise or hum. A stretch of noise alone moves by some 1.5 dB. */
const MOVES_DB = 10
const STRETCH_S = 0.25

/**
 * The factors of all inputs. Scaled to equal rms, a dead input is noise as loud as the track: inputs whose level does not
 * move hold no track and count less.
 */
export function turnsOf({ channels, sampleRateHz }: Audio): Turn[] {
  const seen = channels.map((channel) => looked(channel, sampleRateHz))
  const most = Math.max(0, ...seen.map(({ moves }) => moves))
  return seen.map(({ rms, moves }, k) => {
    const scale = rms === 0 ? 0 : (most === 0 ? 1 : (moves / most) ** 2) / rms
    return { re: scale * Math.cos(k * GOLDEN_ANGLE_RAD), im: scale * Math.sin(k * GOLDEN_ANGLE_RAD) }
  })
}

/** Rms of an input, and by how much its loudest stretch stands over its quiet ones: 0 for steady, 1 for MOVES_DB or more. */
function looked(channel: Float32Array, sampleRateHz: number): { rms: number; moves: number } {
  const looksPerStretch = Math.max(1, Math.round((STRETCH_S * sampleRateHz) / LOOK.every))
  const powers: number[] = []
  let [total, sum, looks] = [0, 0, 0]
  for (let first = 0; first + LOOK.count <= channel.length; first += LOOK.every) {
    for (let n = first; n < first + LOOK.count; n++) sum += channel[n] * channel[n]
    if (++looks < looksPerStretch) continue
    powers.push(sum)
    total += sum
    sum = 0
    looks = 0
  }
  if (total === 0) return { rms: Math.sqrt(sum), moves: 0 }
  // Digital silence before a recording is none of its quiet stretches.
  const heard = powers.filter((power) => power > 0).sort((a, b) => a - b)
  const quiet = heard[Math.floor(heard.length / 10)]
  const movesDb = 10 * Math.log10(heard[heard.length - 1] / quiet)
  const rms = Math.sqrt(total / (powers.length * looksPerStretch * LOOK.count))
  return { rms, moves: Math.min(1, movesDb / MOVES_DB) }
}

/** A take with the factors of its inputs: any stretch of it can be mixed. */
export interface Mixed {
  readonly audio: Audio
  readonly turns: readonly Turn[]
}

/** How many samples may be summed to one so that leastHz of them are left in each second. */
export const factorFor = ({ sampleRateHz }: Audio, leastHz: number): number =>
  Math.max(1, Math.floor(sampleRateHz / leastHz))

/** Mixed samples that are worked on together: few enough to stay in the processor's near memory. */
const BLOCK = 1024

/**
 * The mix of a stretch, each so many samples summed to one: sample m of the answer stands (factor - 1) / 2 samples after
 * sample from + m × factor of the take. Beyond the take's ends it is silent.
 *
 * A plain mean is low-pass enough: what it folds back of a chirp lies after the part that is kept, and of white noise it
 * keeps no more than a sharp filter does.
 */
export function mixOf({ audio, turns }: Mixed, factor: number, from: number, count: number): Complex {
  const re = new Float32Array(count)
  const im = new Float32Array(count)
  const frameCount = frameCountOf(audio)
  const start = Math.max(0, Math.ceil(-from / factor))
  const end = Math.min(count, Math.floor((frameCount - from) / factor))
  const used = turns.map((turn, k) => ({ turn, channel: audio.channels[k] })).filter(({ turn }) => turn.re || turn.im)
  for (let first = start; first < end; first += BLOCK) {
    const stop = Math.min(end, first + BLOCK)
    for (let k = 0; k < used.length; k += 2) {
      // An odd last input stands in for its own partner, with no weight.
      const other = used[k + 1] ?? { channel: used[k].channel, turn: { re: 0, im: 0 } }
      addTurned({ re, im }, used[k].channel, used[k].turn, other.channel, other.turn, factor, from, first, stop)
    }
  }
  return { re, im }
}

/** Adds a stretch of two inputs to the mix. Two at a time halves the way to memory. */
function addTurned(
  { re, im }: Complex,
  one: Float32Array,
  turnOne: Turn,
  two: Float32Array,
  turnTwo: Turn,
  factor: number,
  from: number,
  first: number,
  stop: number,
): void {
  const [a, b, c, d] = [turnOne.re / factor, turnOne.im / factor, turnTwo.re / factor, turnTwo.im / factor]
  // Four samples a turn: the sums are most of the work of finding the track.
  const quads = factor >> 2
  const singles = factor & 3
  let n = from + first * factor
  for (let m = first; m < stop; m++) {
    let x = 0
    let y = 0
    for (let i = 0; i < quads; i++) {
      x += one[n] + one[n + 1] + one[n + 2] + one[n + 3]
      y += two[n] + two[n + 1] + two[n + 2] + two[n + 3]
      n += 4
    }
    for (let i = 0; i < singles; i++) {
      x += one[n]
      y += two[n]
      n++
    }
    re[m] += a * x + c * y
    im[m] += b * x + d * y
  }
}

/** Half the rate: low-passed at a quarter of it. Sample m of the answer stands at sample 2 m. */
export function halved({ re, im }: Complex): Complex {
  return { re: halvedPart(re), im: halvedPart(im) }
}

/** Half-band low-pass, Hann-windowed sinc: every other tap is 0. Taps 1, 3, 5 … of one side; the middle one is 1/2. */
const HALF_BAND = [1, 3, 5, 7, 9].map(
  (i) => (Math.sin((Math.PI * i) / 2) / (Math.PI * i)) * (0.5 + 0.5 * Math.cos((Math.PI * i) / 11)),
)

function halvedPart(samples: Float32Array): Float32Array {
  const [a, b, c, d, e] = HALF_BAND
  const padded = new Float32Array(samples.length + 20)
  padded.set(samples, 9)
  const out = new Float32Array(Math.floor(samples.length / 2))
  for (let m = 0, n = 9; m < out.length; m++, n += 2) {
    out[m] =
      0.5 * padded[n] +
      a * (padded[n - 1] + padded[n + 1]) +
      b * (padded[n - 3] + padded[n + 3]) +
      c * (padded[n - 5] + padded[n + 5]) +
      d * (padded[n - 7] + padded[n + 7]) +
      e * (padded[n - 9] + padded[n + 9])
  }
  return out
}

/** The largest magnitude over all inputs (fraction of full scale); the search ends where enough is reached. */
export function peakOf({ channels }: Audio, enoughFs: number): number {
  let peakFs = 0
  for (const channel of channels) {
    for (let n = 0; n < channel.length; n++) {
      if (Math.abs(channel[n]) <= peakFs) continue
      peakFs = Math.abs(channel[n])
      if (peakFs >= enoughFs) return peakFs
    }
  }
  return peakFs
}
