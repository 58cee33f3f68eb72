/**
 * Where a track stood still or left out a part, when that is long: each sweep and tone stands either where the opening
 * marker puts it or later by the pause.
 */
import { complexSpectrum, sizeFor } from '../dsp/fft.js'
import { SWEEP, sectionStartS, sectionsOf, sweepPhaseRad } from '../stimulus/layout.js'
import type { Jump } from './jump-words.js'
import { type Complex, factorFor, type Mixed, mixOf } from './mix.js'
import { FIRST_AT_S, LAST_CHIRP_S } from './time-map.js'
import { phasorAt, strengthOf } from './tone-lateness.js'

/** Where things stand before the pause, on the clock that really ran, and how much later they are after it. */
interface Paused {
  readonly mixed: Mixed
  readonly startSample: number
  readonly samplesPerS: number
  readonly jumpS: number
}

/** How much of a section stands where the opening marker puts it: 1 before the pause, 0 after it; null: it cannot be told. */
interface Stand {
  readonly endS: number
  readonly before: number | null
  /** If the pause is inside it: where. */
  readonly insideS: number
  /** If it counts as after the pause: how late the pause may be, since a part too small to be seen may stand before it. */
  readonly seenS: number
}

const SWEEP_RATE_HZ = 12_000
const TONE_RATE_HZ = 22_050
/** Responses are looked at up to here, as a fraction of the rate. */
const TOP = 0.43
/** A slow output is late by so much. */
const REACH_S = 0.02
/** A response stands out over the median of what is around it by so much, or nothing is said. */
const OVER_MEDIAN = 20
/** A section of which less than this stands otherwise than the rest is taken as whole. */
const PART_MIN = 0.04

/** @param jumpS by how much the closing marker is late, 25 ms or more either way */
export function pausePlaceOf(mixed: Mixed, startSample: number, samplesPerS: number, jumpS: number): Jump {
  const paused = { mixed, startSample, samplesPerS, jumpS }
  const stands = [sweepStand(paused, 'sweep_left'), sweepStand(paused, 'sweep_right'), ...toneStands(paused)]
  let fromS = FIRST_AT_S
  for (const { endS, before, insideS, seenS } of stands) {
    if (before === null) continue
    if (before < PART_MIN) return { jumpS, fromS, toS: seenS }
    if (before < 1 - PART_MIN) return { jumpS, fromS: insideS - 0.2, toS: insideS + 0.2 }
    fromS = endS
  }
  return { jumpS, fromS, toS: LAST_CHIRP_S }
}

/** By the response to the sweep, which is looked for at both places. */
function sweepStand(paused: Paused, kind: 'sweep_left' | 'sweep_right'): Stand {
  const { mixed, startSample, samplesPerS, jumpS } = paused
  const startS = sectionStartS(kind)
  const factor = factorFor(mixed.audio, SWEEP_RATE_HZ)
  const perS = samplesPerS / factor
  // The response's height goes by bandwidth: what stands before the pause ends where so much of the band has passed.
  const momentOf = (part: number): number =>
    startS + SWEEP.rateS * Math.log(Math.max(1, (frequencyFor(part) * TOP * perS) / SWEEP.freqHzStart))
  const stand = { endS: startS + SWEEP.durationS, seenS: momentOf(PART_MIN) }
  const [earlyS, lateS] = [Math.min(0, jumpS) - REACH_S, Math.max(0, jumpS) + REACH_S]
  const from = Math.round(startSample + (startS + earlyS) * samplesPerS)
  const count = Math.ceil((SWEEP.durationS + lateS - earlyS) * perS)
  const response = responseTo(mixOf(mixed, factor, from, count), sweepTemplate(perS), perS)
  const bestAround = (offS: number): number => {
    const [first, last] = [offS - earlyS - REACH_S / 2, offS - earlyS + REACH_S / 2].map((s) => Math.round(s * perS))
    let best = 0
    for (let n = Math.max(0, first); n <= last; n++) best = Math.max(best, response[n])
    return best
  }
  const [inPlace, moved] = [bestAround(0), bestAround(jumpS)]
  const median = Float64Array.from(response).sort()[response.length >> 1]
  if (Math.max(inPlace, moved) < OVER_MEDIAN * median) return { ...stand, before: null, insideS: startS }
  const before = inPlace / (inPlace + moved)
  return { ...stand, before, insideS: momentOf(before) }
}

/** Up to which frequency (fraction of the top) a part of the response's height reaches: its band is weighted by cos². */
function frequencyFor(part: number): number {
  let [low, high] = [0, 1]
  for (let i = 0; i < 20; i++) {
    const middle = (low + high) / 2
    if (middle + Math.sin(Math.PI * middle) / Math.PI < part) low = middle
    else high = middle
  }
  return low
}

/** The sweep as a turning phasor, as far as the rate carries it. */
function sweepTemplate(perS: number): Complex {
  const endS = Math.min(SWEEP.durationS, SWEEP.rateS * Math.log((TOP * perS) / SWEEP.freqHzStart))
  const count = Math.floor(endS * perS)
  const [re, im] = [new Float32Array(count), new Float32Array(count)]
  for (let n = 0; n < count; n++) {
    const angle = sweepPhaseRad(n / perS, SWEEP.freqHzStart, SWEEP.rateS)
    re[n] = Math.sin(angle)
    im[n] = -Math.cos(angle)
  }
  return { re, im }
}

/**
 * Magnitude of the response of a signal to a template at each sample: the one's spectrum over the other's, with a soft top
 * so that it does not ring into the other place.
 */
function responseTo(signal: Complex, template: Complex, perS: number): Float64Array {
  const size = sizeFor(signal.re.length + template.re.length)
  const [heard, played] = [signal, template].map(({ re, im }) => {
    const interleaved = new Float64Array(2 * size)
    for (let n = 0; n < re.length; n++) {
      interleaved[2 * n] = re[n]
      interleaved[2 * n + 1] = im[n]
    }
    return complexSpectrum(interleaved)
  })
  const [first, last] = [Math.ceil((SWEEP.freqHzStart / perS) * size), Math.floor(TOP * size)]
  heard.fill(0, 0, 2 * first)
  heard.fill(0, 2 * last)
  for (let k = first; k < last; k++) {
    const [a, b, c, d] = [heard[2 * k], heard[2 * k + 1], played[2 * k], played[2 * k + 1]]
    const scale = Math.cos((0.5 * Math.PI * k) / last) ** 2 / Math.max(c * c + d * d, Number.MIN_VALUE)
    heard[2 * k] = scale * (a * c + b * d)
    // The inverse by the forward transform of the conjugate: magnitudes are the same.
    heard[2 * k + 1] = scale * (a * d - b * c)
  }
  const response = complexSpectrum(heard)
  return Float64Array.from({ length: signal.re.length }, (_, n) => Math.hypot(response[2 * n], response[2 * n + 1]))
}

/** By the strength of each tone at both places. */
function toneStands({ mixed, startSample, samplesPerS, jumpS }: Paused): Stand[] {
  const factor = factorFor(mixed.audio, TONE_RATE_HZ)
  const perS = samplesPerS / factor
  return sectionsOf()
    .filter(({ kind }) => kind === 'tone')
    .map(({ startS, durationS, tones: [{ freqHz }] }) => {
      const strengthAt = (offS: number): number => {
        const from = Math.round(startSample + (startS + offS) * samplesPerS)
        const mix = mixOf(mixed, factor, from, Math.floor(durationS * perS))
        return strengthOf(phasorAt(mix, 0, mix.re.length, (2 * Math.PI * freqHz) / perS))
      }
      const [inPlace, moved] = [strengthAt(0), strengthAt(jumpS)]
      // Shifted by the pause it overlaps its place by so much less; half of that is clear.
      const clear = 1 - 0.5 * Math.min(1, Math.abs(jumpS) / durationS)
      const isClear = Math.min(inPlace, moved) < clear * Math.max(inPlace, moved)
      const before = isClear ? Number(inPlace > moved) : null
      return { endS: startS + durationS, before, insideS: startS, seenS: startS }
    })
}
