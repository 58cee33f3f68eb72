/**
 * Interruptions of known place and kind in otherwise sound takes, and sound takes of every sort in which there is none.
 *
 * Truth is where the test put it. Noise stands against the steady tone at -3 dBFS (peak 0.35 rms on these wires).
 */

import { describe, expect, test } from 'vitest'
import { findJump } from '../../src/measure/find-jump.js'
import type { Interruption } from '../../src/measure/interruption.js'
import { commonTo, findInterruptions } from '../../src/measure/interruptions.js'
import { markerPair } from '../../src/measure/marker-pair.js'
import { deconvolve, sweepReference, transferFrom } from '../../src/measure/transfer.js'
import { SWEEP, sectionStartS } from '../../src/stimulus/layout.js'
import { butterworth, filtered, peaking } from '../kit/biquad.js'
import { clicked, dropped, jumped, repeated, reverberant } from '../kit/interrupt.js'
import { hiss } from '../kit/random.js'
import { clipped, mixed, placeOf, playTrack, shaped, sines } from '../kit/track.js'
import { everyNth, half, isLong, some } from '../long.js'

const RATE_HZ = 48_000
const TONE_RMS = 0.35
const played = playTrack({ leadInS: 0.5, tailS: 0.5, ppm: 60 })
const located = placeOf(played)
const reference = sweepReference(located)
const full = mixed(played, 0.5, 0.5)
const sub = filtered(full, butterworth('low', 4, 80, RATE_HZ))
const noise = hiss(full.length, 1, 1)

const sampleAt = (trackS: number): number => Math.round(located.startSample + trackS * located.samplesPerS)
const sweepPasses = (side: 'left' | 'right', freqHz: number): number =>
  sampleAt(sectionStartS(`sweep_${side}`) + SWEEP.rateS * Math.log(freqHz / SWEEP.freqHzStart))

/** Samples on the wire with noise; the noise begins elsewhere for each seed. */
function noisy(wire: Float64Array, snrDb: number, seed: number, extra?: Float64Array): Float32Array {
  const rms = TONE_RMS * 10 ** (-snrDb / 20)
  const shift = (seed * 104_729) % noise.length
  const out = new Float32Array(wire.length)
  for (let n = 0; n < out.length; n++) {
    const from = n + shift
    out[n] = wire[n] + rms * noise[from < noise.length ? from : from - noise.length] + (extra?.[n] ?? 0)
  }
  return out
}

const found = (channel: Float32Array): readonly Interruption[] => {
  const responses = deconvolve(channel, reference)
  return findInterruptions(channel, located, markerPair(channel, located), transferFrom(responses), responses)
}

const PLACES = {
  'the left sweep at 60 Hz': sweepPasses('left', 60),
  'the left sweep at 1 kHz': sweepPasses('left', 1000),
  'the right sweep at 9 kHz': sweepPasses('right', 9000),
  'the 997 Hz tone': sampleAt(20.3),
  'the 60 Hz tone': sampleAt(22.4),
  'the 6.3 kHz tone': sampleAt(24.5),
  'the staircase': sampleAt(30.55),
  'the two-tone section': sampleAt(36.5),
} as const

describe.each(everyNth(Object.entries(PLACES), 3))('in %s, 60 dB over the noise', (_, place) => {
  // An odd offset, so that nothing begins on a block.
  const at = place + 17

  test('10 ms that are cut out are a dropout, exact to a sample', () => {
    const [only, ...rest] = found(noisy(dropped(full, at, 480), 60, 1))
    expect(rest).toEqual([])
    expect(only).toMatchObject({ kind: 'dropout', lateSamples: 0 })
    expect(Math.abs(only.atSample - at)).toBeLessThanOrEqual(1)
    expect(Math.abs(only.lengthSamples - 480)).toBeLessThanOrEqual(2)
    expect(only.atS).toBeCloseTo((at - located.startSample) / located.samplesPerS, 4)
    expect(only.atSampleU).toBeLessThan(1)
  })

  test('441 samples that come twice are a repeat, exact to a sample', () => {
    const [only, ...rest] = found(noisy(repeated(full, at, 441), 60, 2))
    expect(rest).toEqual([])
    expect(only).toMatchObject({ kind: 'repeat', lateSamples: 0, lagSamples: 441 })
    expect(Math.abs(only.atSample - at)).toBeLessThanOrEqual(1)
    expect(Math.abs(only.lengthSamples - 441)).toBeLessThanOrEqual(2)
  })
})

const FEW = ['the left sweep at 1 kHz', 'the 997 Hz tone', 'the right sweep at 9 kHz', 'the staircase'] as const

describe.each(some(FEW, 2))('in %s, 60 dB over the noise', (name) => {
  const at = PLACES[name] + 17

  test('a sample that is off by a tenth of full scale is a click at its very place', () => {
    const list = found(noisy(clicked(full, at, 0.1), 60, 3))
    expect(list.map(({ kind, atSample, lengthSamples }) => ({ kind, atSample, lengthSamples }))).toEqual([
      { kind: 'click', atSample: at, lengthSamples: 1 },
    ])
    // Truth: the click's height; tolerance: four times the noise.
    expect(Math.abs(list[0].peakFs - 0.1)).toBeLessThan(4 * TONE_RMS * 1e-3)
  })

  test('64 samples that are lost are a jump to earlier, exact to a sample', () => {
    const [only, ...rest] = found(noisy(jumped(full, at, -64), 60, 4))
    expect(rest).toEqual([])
    expect(only).toMatchObject({ kind: 'jump', lateSamples: -64, lengthSamples: 0 })
    expect(Math.abs(only.atSample - at)).toBeLessThanOrEqual(1)
  })
})

describe('single samples', () => {
  test.each(['the right sweep at 9 kHz', 'the 997 Hz tone', 'the 6.3 kHz tone'] as const)(
    'one that is lost in %s is found to the sample',
    (place) => {
      const at = PLACES[place] + 17
      const [only, ...rest] = found(noisy(jumped(full, at, -1), 60, 5))
      expect(rest).toEqual([])
      expect(only).toMatchObject({ kind: 'jump', lateSamples: -1 })
      expect(Math.abs(only.atSample - at)).toBeLessThanOrEqual(1)
    },
  )

  test('a click in the silence is found, a hundredth of full scale high', () => {
    const at = sampleAt(5.1)
    const list = found(noisy(clicked(full, at, 0.01), 60, 6))
    expect(list.map(({ kind, section, atSample }) => [kind, section, atSample])).toEqual([['click', 'silence', at]])
  })

  test('64 samples that come twice, with everything after later, are a repeat that moves the rest', () => {
    const at = PLACES['the 997 Hz tone'] + 17
    const [only, ...rest] = found(noisy(jumped(full, at, 64), 60, 7))
    expect(rest).toEqual([])
    expect(only).toMatchObject({ kind: 'repeat', lengthSamples: 64, lagSamples: 64, lateSamples: 64 })
    expect(Math.abs(only.atSample - at)).toBeLessThanOrEqual(1)
  })
})

test('at 40 dB over the noise a place is right within twice its uncertainty', () => {
  const tones = ['the 997 Hz tone', 'the 60 Hz tone', 'the 6.3 kHz tone'] as const
  let within = 0
  for (let seed = 0; seed < 12; seed++) {
    const at = PLACES[tones[seed % 3]] + 13 * seed
    const [only, ...rest] = found(noisy(seed % 2 === 0 ? dropped(full, at, 480) : repeated(full, at, 441), 40, seed))
    expect(rest).toEqual([])
    expect(only.kind).toBe(seed % 2 === 0 ? 'dropout' : 'repeat')
    // Half a sample is what whole samples leave.
    if (Math.abs(only.atSample - at) <= Math.max(0.5, 2 * only.atSampleU)) within++
  }
  // Twice the standard uncertainty covers 95 %: of 12, ten or more in 98 of 100 runs.
  expect(within).toBeGreaterThanOrEqual(10)
})

describe('an output of 80 Hz', () => {
  test('says a cut behind its filter to the sample', () => {
    const at = PLACES['the 60 Hz tone'] + 17
    const [only, ...rest] = found(noisy(dropped(sub, at, 480), 60, 8))
    expect(rest).toEqual([])
    expect(only.kind).toBe('dropout')
    expect(Math.abs(only.atSample - at)).toBeLessThanOrEqual(1)
    expect(only.atSampleU).toBeLessThan(1)
  })

  test('says a cut before its filter as a disturbance, as well as its band allows', () => {
    const at = PLACES['the 60 Hz tone'] + 17
    const [only, ...rest] = found(noisy(filtered(dropped(full, at, 480), butterworth('low', 4, 80, RATE_HZ)), 60, 9))
    expect(rest).toEqual([])
    // 10 ms are less than the filter rings: dropout or repeat can't be told apart.
    expect(only.kind).toBe('disturbance')
    expect(only.atSampleU).toBeGreaterThan(100)
    expect(Math.abs(only.atSample - at)).toBeLessThan(2 * only.atSampleU)
  })

  test('names a longer dropout before its filter', () => {
    const at = PLACES['the 60 Hz tone'] + 17
    const [only] = found(noisy(filtered(dropped(full, at, 4800), butterworth('low', 4, 80, RATE_HZ)), 60, 10))
    expect(only.kind).toBe('dropout')
    expect(Math.abs(only.atSample - at)).toBeLessThan(2 * only.atSampleU)
  })
})

test('a dropout and a click in one take are both said, in order of time', () => {
  const [first, second] = [PLACES['the left sweep at 1 kHz'], PLACES['the 997 Hz tone']]
  const list = found(noisy(clicked(dropped(full, first, 480), second, 0.2), 60, 11))
  expect(list.map(({ kind }) => kind)).toEqual(['dropout', 'click'])
})

describe('sound takes', () => {
  const count = full.length
  const spikes = (everySamples: number): Float64Array => {
    const out = new Float64Array(count)
    for (let at = 0; at < count - 10; at += everySamples) {
      for (let k = 0; k < 10; k++) out[Math.floor(at) + k] += 2e-3 * Math.exp(-k / 3)
    }
    return out
  }
  const mute = (afterS: number): Float64Array => {
    let [quiet, open] = [Number.POSITIVE_INFINITY, 0]
    return full.map((value) => {
      quiet = Math.abs(value) > 3e-4 ? 0 : quiet + 1
      open = quiet < afterS * RATE_HZ ? Math.min(1, open + 1 / 240) : Math.max(0, open - 1 / 240)
      return value * open
    })
  }
  const limiter = (): Float64Array => {
    let gain = 1
    return full.map((value) => {
      const wanted = Math.abs(value) * gain > 0.2 ? 0.2 / Math.abs(value) : 1
      gain += (wanted - gain) * (wanted < gain ? 0.01 : 2e-5)
      return value * gain
    })
  }
  const wires: [string, () => Float64Array, Float64Array?][] = [
    ['full-range', () => full],
    ['of the left side', () => mixed(played, 0.7, 0)],
    ['that clip hard', () => clipped(full, 0.1)],
    ['that clip a little', () => clipped(full, 0.3)],
    ['with a bent curve', () => shaped(full, 0.05, 0.1)],
    [
      'with hum',
      () => full,
      sines(
        count,
        RATE_HZ,
        [50.02, 150.06, 250.1].map((freqHz) => ({ freqHz, peak: 3e-3 })),
      ),
    ],
    ['with a buzz', () => full, spikes(RATE_HZ / 100.03)],
    ['with a slow buzz', () => clipped(full, 0.2), spikes(RATE_HZ / 50.03)],
    [
      'that whistle',
      () => sub,
      sines(
        count,
        RATE_HZ,
        [1733, 9123].map((freqHz) => ({ freqHz, peak: 1e-3 })),
      ),
    ],
    ['that mute themselves', () => mute(0.3)],
    ['that mute themselves late', () => mute(1.2)],
    ['that reverberate', () => reverberant(full, RATE_HZ, 0.4, 0.7, 3)],
    ['of an 80 Hz band', () => sub],
    ['from 3 kHz up', () => filtered(full, butterworth('high', 4, 3000, RATE_HZ))],
    ['with narrow filters', () => filtered(full, [peaking(1000, -30, 30, RATE_HZ), peaking(100, 15, 10, RATE_HZ)])],
    ['that limit', limiter],
    ['that are dead', () => new Float64Array(count)],
  ]

  test.each(half(wires))('%s are said to have none, at 100 to 40 dB over the noise', (_, wire, extra) => {
    const samples = wire()
    const clean = noisy(samples, 90, 0, extra)
    const responses = deconvolve(clean, reference)
    const transfer = transferFrom(responses)
    // A short run takes 60 and 40 dB.
    for (let seed = isLong ? 0 : 2; seed < (isLong ? 12 : 4); seed++) {
      const channel = noisy(samples, [100, 80, 60, 40][seed % 4], seed + 1, extra)
      expect(findInterruptions(channel, located, markerPair(channel, located), transfer, responses)).toEqual([])
    }
  })

  test('of a clock that is 100 ppm off are said to have none', () => {
    const other = playTrack({ leadInS: 0.5, tailS: 0.5, ppm: -100 })
    const place = placeOf(other)
    const channel = Float32Array.from(mixed(other, 0.5, 0.5))
    const responses = deconvolve(channel, sweepReference(place))
    expect(findInterruptions(channel, place, markerPair(channel, place), transferFrom(responses), responses)).toEqual(
      [],
    )
  })
})

describe('a take with samples missing between its markers', () => {
  const jumps = [
    ['the 997 Hz tone', -480],
    ['the right sweep at 9 kHz', -1024],
    ['the 6.3 kHz tone', 4800],
    ['the left sweep at 1 kHz', -24_000],
  ] as const
  test.each(half(jumps))('is told where: %s, %i samples', (place, late) => {
    const at = PLACES[place] + 17
    const jump = findJump(noisy(jumped(full, at, late), 60, 12), located)
    expect(jump).toMatchObject({ lateSamples: late, kind: late < 0 ? 'jump' : 'repeat' })
    expect(Math.abs(jump!.atSample - at)).toBeLessThanOrEqual(1)
  })

  test('is told between which parts where nothing plays at the place itself', () => {
    const at = sampleAt(5)
    const jump = findJump(noisy(jumped(full, at, -480), 60, 13), located)!
    expect(jump).toMatchObject({ kind: 'jump', lateSamples: -480 })
    // Anywhere between the marker and what the sweep tells: a uniform spread reaches 1.73 of its standard uncertainty.
    expect(Math.abs(jump.atSample - at)).toBeLessThan(1.74 * jump.atSampleU)
    expect(jump.atSampleU).toBeLessThan(3 * RATE_HZ)
  })

  test('has none where nothing is missing', () => {
    expect(findJump(noisy(full, 60, 14), located)).toBeNull()
  })
})

describe('interruptions of several inputs', () => {
  const one = (atSample: number, rest: Partial<Interruption> = {}): Interruption => ({
    kind: 'dropout',
    section: 'tone',
    atSample,
    atS: atSample / RATE_HZ,
    atSampleU: 0.3,
    lengthSamples: 480,
    lateSamples: 0,
    lagSamples: null,
    peakFs: 0.5,
    explained: 1,
    ...rest,
  })

  test('are common where all inputs have them at about the same time, outputs being some milliseconds apart', () => {
    const shared = commonTo([[one(90_000)], [one(90_620)], [one(90_300)]], RATE_HZ)
    expect(shared).toMatchObject([{ inputs: [0, 1, 2], isCommon: true }])
  })

  test('are those of single outputs where the others have none', () => {
    const shared = commonTo([[one(90_000), one(400_000)], [one(90_100)], []], RATE_HZ)
    expect(shared.map(({ inputs, isCommon }) => ({ inputs, isCommon }))).toEqual([
      { inputs: [0, 1], isCommon: false },
      { inputs: [0], isCommon: false },
    ])
  })

  test('do not ask inputs that show nothing, and say the kind that is known best', () => {
    const vague = one(90_400, { kind: 'disturbance', atSampleU: 391 })
    const [shared] = commonTo([[vague], null, [one(90_000)]], RATE_HZ)
    expect(shared).toMatchObject({
      inputs: [0, 2],
      isCommon: true,
      interruption: { kind: 'dropout', atSample: 90_000 },
    })
  })

  test('of a single input are not common to anything', () => {
    expect(commonTo([[one(90_000)]], RATE_HZ)).toMatchObject([{ inputs: [0], isCommon: false }])
    expect(commonTo([[], []], RATE_HZ)).toEqual([])
  })
})
