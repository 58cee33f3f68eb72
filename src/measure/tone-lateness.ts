/**
 * How late a steady tone is, block by block, against where the markers put it: the clock between the markers.
 *
 * Blocks have a Hann window, so that neither the tone's own image nor hum nor an offset leaks in. Lateness is read from the
 * phase: true up to a constant (the path's own phase), and unwrapped from block to block. The phase is that of every input by
 * itself: one that clips would weigh less in a mix of inputs that come at different times, and turn it.
 */
import { HANN } from '../dsp/tables/harris-1978.js'
import { cosineWindow } from '../dsp/windows.js'
import { frameCountOf } from '../units/audio.js'
import { type Complex, factorFor, type Mixed, mixOf } from './mix.js'
import type { Straight } from './refine.js'

/** A stretch of one frequency that starts its phase anew. */
export interface Burst {
  readonly freqHz: number
  /** Where its phase is 0. */
  readonly startS: number
  /** Where it is steady. */
  readonly fromS: number
  readonly toS: number
}

/** One frequency of complex samples, and that of its mirror turned over: inputs that cancel in one do not in the other. */
interface Phasor {
  readonly re: number
  readonly im: number
  readonly mirrorRe: number
  readonly mirrorIm: number
}

export interface ToneLateness {
  readonly freqHz: number
  /** Middle of each block (track's time) and its lateness (s), the first one 0. */
  readonly atS: readonly number[]
  readonly lateS: readonly number[]
  /** Standard deviation of one block, from how neighbours differ. */
  readonly spreadS: number
  /** Strength of each block, squared: the louder, the less noise in its phase. */
  readonly weights: readonly number[]
  /** The tone's share of the power that is there, 0 to 1. */
  readonly share: number
  /** Mean magnitude for each sample. */
  readonly strength: number
}

/** Tones are read at a rate of this or more. What the mean of a few samples folds onto them is far weaker. */
const RATE_HZ = 22_050
/** Short enough that clocks 3000 ppm apart turn 6.3 kHz by less than half a turn from one block to the next. */
const BLOCK_S = 0.024
/** Of a low tone at least so many: neither an offset nor its own image is within the window's lobe. */
const PERIOD_COUNT = 4

const powerOf = ({ re, im, mirrorRe, mirrorIm }: Phasor): number => re * re + im * im + mirrorRe ** 2 + mirrorIm ** 2

export const strengthOf = (phasor: Phasor): number => Math.sqrt(powerOf(phasor))

/** What one block holds of the tone: of each pair of inputs. */
type Block = readonly Phasor[]

const blockPower = (block: Block): number => block.reduce((sum, phasor) => sum + powerOf(phasor), 0)

/** Angle of one block against another, all inputs together by their power. */
function angleBetween(one: Block, other: Block): number {
  let [re, im] = [0, 0]
  one.forEach((a, k) => {
    const b = other[k]
    re += a.re * b.re + a.im * b.im + a.mirrorRe * b.mirrorRe + a.mirrorIm * b.mirrorIm
    im += a.im * b.re - a.re * b.im + a.mirrorIm * b.mirrorRe - a.mirrorRe * b.mirrorIm
  })
  return Math.atan2(im, re)
}

/**
 * Inputs two by two, one as the real and one as the imaginary part, weighted as in the mix: the products of both views of a pair
 * add up to those of either input alone.
 */
function pairsOf({ audio, turns }: Mixed): Mixed[] {
  const used = turns
    .map(({ re, im }, k) => ({ channel: audio.channels[k], weight: Math.hypot(re, im) }))
    .filter(({ weight }) => weight > 0)
  const pairs: Mixed[] = []
  for (let k = 0; k < used.length; k += 2) {
    const some = used.slice(k, k + 2)
    pairs.push({
      audio: { ...audio, channels: some.map(({ channel }) => channel) },
      turns: some.map(({ weight }, i) => (i === 0 ? { re: weight, im: 0 } : { re: 0, im: weight })),
    })
  }
  return pairs
}

/**
 * @param originSample where the angle is 0; may lie outside and between samples
 */
export function phasorAt(
  samples: Complex,
  from: number,
  count: number,
  stepRad: number,
  originSample = from,
  window: Float64Array | null = null,
): Phasor {
  const [stepRe, stepIm] = [Math.cos(stepRad), Math.sin(stepRad)]
  // Both parts against cosine and sine at once; see dsp/projection.ts. Blocks are short, so rounding does not add up.
  let xc = 0
  let xs = 0
  let yc = 0
  let ys = 0
  let u = 1
  let v = 0
  const { re: one, im: other } = samples
  for (let n = from; n < from + count; n++) {
    const weight = window === null ? 1 : window[n - from]
    const x = weight * one[n]
    const y = weight * other[n]
    xc += x * u
    xs += x * v
    yc += y * u
    ys += y * v
    const next = u * stepRe - v * stepIm
    v = v * stepRe + u * stepIm
    u = next
  }
  // The sum counts angles from its first sample; they begin (from - origin) steps later.
  const angle = -stepRad * (from - originSample)
  const [c, s] = [Math.cos(angle), Math.sin(angle)]
  const [re, im, mirrorRe, mirrorIm] = [xc + ys, yc - xs, xc - ys, -(yc + xs)]
  return {
    re: re * c - im * s,
    im: im * c + re * s,
    mirrorRe: mirrorRe * c - mirrorIm * s,
    mirrorIm: mirrorIm * c + mirrorRe * s,
  }
}

function energyOf({ re, im }: Complex): number {
  let sum = 0
  for (let n = 0; n < re.length; n++) sum += re[n] * re[n] + im[n] * im[n]
  return sum
}

let kept = new Float64Array(0)

/** Hann window with a mean of 1; the last one is kept, for most blocks of a take are alike. */
function windowOf(count: number): Float64Array {
  if (kept.length !== count) kept = cosineWindow(HANN, count).map((value) => value / HANN[0])
  return kept
}

/**
 * @param rateGuess seconds of lateness for each second, as far as known: carries over the gaps between bursts
 * @returns null where the take does not hold the bursts
 */
export function toneLatenessOf(
  mixed: Mixed,
  straight: Straight,
  bursts: readonly Burst[],
  rateGuess = 0,
): ToneLateness | null {
  const [{ freqHz }] = bursts
  const factor = factorFor(mixed.audio, RATE_HZ)
  const perS = straight.samplesPerS / factor
  const stepRad = (2 * Math.PI * freqHz) / perS
  const count = Math.round(Math.max(BLOCK_S, PERIOD_COUNT / freqHz) * perS)
  const window = windowOf(count)
  const frameCount = frameCountOf(mixed.audio)
  const pairs = pairsOf(mixed)
  const [blocks, atS]: [Block[], number[]] = [[], []]
  let held = 0
  let power = 0
  for (const { startS, fromS, toS } of bursts) {
    const from = Math.round(straight.startSample + fromS * straight.samplesPerS)
    const blockCount = Math.floor(((toS - fromS) * perS) / count)
    if (from < 0 || from + blockCount * count * factor > frameCount) return null
    const mixes = pairs.map((pair) => mixOf(pair, factor, from, blockCount * count))
    const middle = from + (factor - 1) / 2
    const origin = (straight.startSample + startS * straight.samplesPerS - middle) / factor
    power += mixes.reduce((sum, mix) => sum + energyOf(mix), 0)
    for (let i = 0; i < blockCount; i++) {
      const block = mixes.map((mix) => phasorAt(mix, i * count, count, stepRad, origin, window))
      held += blockPower(block) / count
      blocks.push(block)
      atS.push((middle + (i + 0.5) * count * factor - straight.startSample) / straight.samplesPerS)
    }
  }
  const share = Math.min(1, held / Math.max(power, Number.MIN_VALUE))
  const radPerS = -2 * Math.PI * freqHz
  const lateS = [0]
  for (let i = 1; i < blocks.length; i++) {
    const guessS = rateGuess * (atS[i] - atS[i - 1])
    const angle = angleBetween(blocks[i], blocks[i - 1]) - guessS * radPerS
    lateS.push(lateS[i - 1] + guessS + wrapped(angle) / radPerS)
  }
  const steps = lateS.slice(1).map((late, i) => late - lateS[i])
  const middleStep = medianOf(steps)
  // The median deviation of normal values is 0.6745 of one standard deviation; a difference has two blocks' spread.
  const spreadS = medianOf(steps.map((step) => Math.abs(step - middleStep))) / 0.6745 / Math.SQRT2
  const powers = blocks.map(blockPower)
  const strength = powers.reduce((sum, value) => sum + Math.sqrt(value), 0) / (blocks.length * count)
  return {
    freqHz,
    atS,
    lateS,
    spreadS,
    share,
    strength,
    weights: powers,
  }
}

/** To half a turn either way. */
const wrapped = (angle: number): number => angle - 2 * Math.PI * Math.round(angle / (2 * Math.PI))

export function medianOf(values: readonly number[]): number {
  if (values.length === 0) return 0
  const sorted = [...values].sort((a, b) => a - b)
  return sorted[sorted.length >> 1]
}
