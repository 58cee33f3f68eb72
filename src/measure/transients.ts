/**
 * Finds places where a signal that should go on steadily does not: a cheap look at every sample of a take.
 *
 * x[n] - 2 cos(w) x[n-1] + x[n-2] is zero for a sine of w radians a sample, whatever its level and phase, and nearly zero for
 * a sweep that passes w. So it leaves noise, distortion and, much above both, every place where the signal breaks. Energy
 * is counted in short blocks; a block counts where it stands far above the blocks on both of its sides. On both: an output
 * that shuts its mute changes its noise too, but stays changed.
 */
import type { Stretch } from './stretches.js'

/** A place where the signal breaks: samples of the take, the last one not included. */
export interface Break {
  readonly stretch: Stretch
  readonly from: number
  readonly to: number
}

/** Samples of the working rate in a block: 1.3 ms at 48 kHz. On a slow output the working rate is low, so fewer. */
const BLOCK = 64
const SLOW_BLOCK = 8
/** Blocks to each side that a block is held against, not counting its nearest neighbour. */
const REACH = 96
const REACH_LEAST = 8
/**
 * How far a block stands above the fifth strongest of the others (or of so many as there are): a buzz that comes with each
 * period of the mains (6.4 of them in the reach) is among them, and so are two more breaks near by.
 */
const RANK = 5
const OVER = 6
/** Nothing, in units of full scale squared: rounding of digital silence. */
const SILENT_POWER = 1e-16
/** The rate that everything is looked at in, and how it goes down where an output carries lows only. */
const WORKING_HZ = 48_000
const SLOW_RATE_OVER_TOP = 8

/**
 * @param topHz where the output's band ends
 * @returns breaks in order of time; neighbouring blocks are one
 */
export function breaksIn(
  channel: Float32Array,
  stretches: readonly Stretch[],
  samplesPerS: number,
  topHz: number,
): readonly Break[] {
  const base = Math.max(1, Math.round(samplesPerS / WORKING_HZ))
  const slow = Math.min(64, Math.floor(samplesPerS / (SLOW_RATE_OVER_TOP * topHz)))
  const found: Break[] = []
  for (const stretch of stretches) {
    const places = placesIn(channel, stretch, samplesPerS, base, BLOCK)
    if (slow >= 4 * base) places.push(...placesIn(channel, stretch, samplesPerS, slow, SLOW_BLOCK))
    places.sort((a, b) => a.from - b.from)
    for (const { from, to } of places) {
      const last = found.at(-1)
      if (last && last.stretch === stretch && from <= last.to)
        found[found.length - 1] = { ...last, to: Math.max(to, last.to) }
      else found.push({ stretch, from, to })
    }
  }
  return found
}

interface Place {
  readonly from: number
  readonly to: number
}

function placesIn(
  channel: Float32Array,
  stretch: Stretch,
  samplesPerS: number,
  factor: number,
  block: number,
): Place[] {
  const energy = energies(channel, stretch, samplesPerS, factor, block)
  const span = factor * block
  const places: Place[] = []
  for (const b of outliers(energy, block * SILENT_POWER)) {
    const last = places.at(-1)
    // The filter looks back, so a break at the very end of a block shows in the next one too.
    const from = Math.max(stretch.from, stretch.from + b * span - 4 * factor)
    const to = Math.min(stretch.to, stretch.from + (b + 1) * span)
    if (last && from <= last.to + span) places[places.length - 1] = { from: last.from, to }
    else places.push({ from, to })
  }
  return places
}

/** Energy of what the filter leaves, for each whole block of the stretch. */
function energies(
  channel: Float32Array,
  stretch: Stretch,
  samplesPerS: number,
  factor: number,
  block: number,
): Float64Array {
  const span = factor * block
  const energy = new Float64Array(Math.floor((stretch.to - stretch.from) / span))
  const stepRad = (2 * Math.PI * factor) / samplesPerS
  const work = factor === 1 ? channel.subarray(stretch.from, stretch.to) : averaged(channel, stretch, factor)
  // Above half the working rate there is nothing left of a tone.
  const turnOf = (hz: number): number => (hz * stepRad < Math.PI ? 2 * Math.cos(hz * stepRad) : 2)
  const [hz = 0, otherHz] = stretch.freqsHz(stretch.from)
  let turn = turnOf(hz)
  if (otherHz !== undefined) {
    const other = turnOf(otherHz)
    for (let b = 0; b < energy.length; b++) energy[b] = leftOfTwo(work, b * block, (b + 1) * block, turn, other)
  } else if (stretch.isSweep) {
    for (let b = 0; b < energy.length; b++) {
      const next = turnOf(stretch.freqsHz(stretch.from + (b + 1) * span)[0])
      energy[b] = leftOfSweep(work, b * block, (b + 1) * block, turn, (next - turn) / block)
      turn = next
    }
  } else {
    for (let b = 0; b < energy.length; b++) energy[b] = leftOfOne(work, b * block, (b + 1) * block, turn)
  }
  return energy
}

function leftOfOne(x: Float32Array, from: number, to: number, turn: number): number {
  let n = Math.max(from, 2)
  let before = x[n - 2]
  let last = x[n - 1]
  let even = 0
  let odd = 0
  for (; n + 1 < to; n += 2) {
    const now = x[n]
    const next = x[n + 1]
    const one = now - turn * last + before
    const two = next - turn * now + last
    even += one * one
    odd += two * two
    before = now
    last = next
  }
  return even + odd
}

function leftOfSweep(x: Float32Array, from: number, to: number, turn: number, rise: number): number {
  let sum = 0
  for (let n = Math.max(from, 2); n < to; n++) {
    const left = x[n] - (turn + (n - 1 - from) * rise) * x[n - 1] + x[n - 2]
    sum += left * left
  }
  return sum
}

function leftOfTwo(x: Float32Array, from: number, to: number, p: number, q: number): number {
  const [outer, middle] = [p + q, 2 + p * q]
  let sum = 0
  for (let n = Math.max(from, 4); n < to; n++) {
    const left = x[n] + x[n - 4] - outer * (x[n - 1] + x[n - 3]) + middle * x[n - 2]
    sum += left * left
  }
  return sum
}

/** Means of as many samples as the factor says. */
function averaged(channel: Float32Array, { from, to }: Stretch, factor: number): Float32Array {
  const out = new Float32Array(Math.floor((to - from) / factor))
  for (let i = 0; i < out.length; i++) {
    let sum = 0
    for (let n = from + i * factor; n < from + (i + 1) * factor; n++) sum += channel[n]
    out[i] = sum / factor
  }
  return out
}

/** Blocks that stand out on both sides. The means come first: they cost nothing and rule nearly all blocks out. */
function outliers(energy: Float64Array, silent: number): number[] {
  const sums = new Float64Array(energy.length + 1)
  for (let b = 0; b < energy.length; b++) sums[b + 1] = sums[b] + energy[b]
  const out: number[] = []
  for (let b = REACH_LEAST + 1; b < energy.length - REACH_LEAST - 1; b++) {
    const [from, to] = [Math.max(0, b - 1 - REACH), Math.min(energy.length, b + 2 + REACH)]
    const least = 3 * Math.max((sums[b - 1] - sums[from]) / (b - 1 - from), (sums[to] - sums[b + 2]) / (to - b - 2))
    if (energy[b] < least || energy[b] < silent) continue
    const usual = Math.max(ranked(energy, from, b - 1), ranked(energy, b + 2, to))
    if (energy[b] > OVER * usual) out.push(b)
  }
  return out
}

/** The fifth largest of so many as a whole reach holds; of fewer in proportion. */
function ranked(energy: Float64Array, from: number, to: number): number {
  const sorted = energy.slice(from, to).sort()
  return sorted[sorted.length - 1 - Math.floor(((RANK - 1) * sorted.length) / REACH)]
}
