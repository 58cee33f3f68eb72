import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import type { OutputSpec } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'
import { readLeadProbe } from '../../src/measure/lead-probe.js'
import { isAlike, judgeLeads, type LeadVerdict } from '../../src/measure/lead-probe-fit.js'
import { mappedVrms, PROBE_TONES } from '../../src/stimulus/lead-probe.js'
import { dbFromRatio, vrms } from '../../src/units/level.js'
import { some } from '../long.js'
import { captured, type Heard, inOrder, RATE_HZ, rigWith } from './lead-probe-world.js'

const JOB = parseJob(readFileSync(new URL('../../captures/quillon/job.yaml', import.meta.url), 'utf8'), 'job.yaml')
const { outputs } = JOB
const RIG = rigWith(12)
const LEADS = inOrder(outputs)
const NUMBERS = LEADS.map(({ inputNumber }) => inputNumber)
/** 60 dB under the probe on an output of 2 V: 2 V × 10^(-40 / 20) × 10^(-60 / 20). */
const NOISE_VRMS = 2e-5

const healthy = (noiseVrms = NOISE_VRMS): Heard[] => outputs.map((spec) => ({ spec, noiseVrms }))
const judged = (inputs: readonly Heard[], startS = 0.7, clockPpm = 0, noiseAt = 0): LeadVerdict[] =>
  judgeLeads(readLeadProbe(captured(inputs, startS, clockPpm, noiseAt), NUMBERS)!, LEADS, outputs, RIG)

describe('a reading of the probe', () => {
  test.each([-500, 0, 500])('has the amplitudes of the map, with clocks %d ppm apart', (clockPpm) => {
    const readings = readLeadProbe(captured(healthy(), 1.234, clockPpm), NUMBERS)!
    for (const [k, spec] of outputs.entries()) {
      const { peakFs, noiseFs } = readings.get(k + 1)!
      for (const [t, level] of mappedVrms(spec).entries()) {
        const peak = level / 4
        // The lobe holds all but 1e-3 of the power; noise adds and takes off as much as it is.
        expect(Math.abs(peakFs[t] - peak)).toBeLessThan(0.005 * peak + 3 * noiseFs[t])
      }
    }
  })

  test('has noise as the closed form of its band: rms over the lobe of a Hann window', () => {
    const { noiseFs } = readLeadProbe(captured(healthy(1e-3), 0.7), NUMBERS)!.get(3)!
    // In 32640 samples a window of noise power s² has 4 s² / N in each of its own bins as squares of peaks; a lobe of 7 padded
    // bins and more: from 4.4e-5 × sqrt 7 at the lows to sqrt 19 at 9.97 kHz. The median of 48 bins has a spread of 20 %.
    const s = 1e-3 / (4 * Math.SQRT2)
    const perBin = s * Math.sqrt(4 / 32_768)
    for (const [t, { freqHz }] of PROBE_TONES.entries()) {
      const reach = 3 + Math.ceil((600e-6 * freqHz * 32_768) / 48_000)
      expect(noiseFs[t] / (perBin * Math.sqrt(2 * reach + 1))).toBeGreaterThan(0.6)
      expect(noiseFs[t] / (perBin * Math.sqrt(2 * reach + 1))).toBeLessThan(1.6)
    }
  })

  test('takes less than 50 ms of computing for twelve inputs', () => {
    const inputs = [...healthy(), ...healthy().slice(0, 2)]
    const audio = captured(inputs, 1.2)
    const numbers = inputs.map((_, k) => k + 1)
    const leads = [...LEADS, { inputNumber: 11, outputNumber: 1 }, { inputNumber: 12, outputNumber: 2 }]
    // The processor's own time: others may be at work beside. The least of several, the rest is warming up.
    const tookMs = Array.from({ length: 9 }, () => {
      const before = process.cpuUsage()
      judgeLeads(readLeadProbe(audio, numbers)!, leads, outputs, RIG)
      const { user, system } = process.cpuUsage(before)
      return (user + system) / 1000
    })
    expect(Math.min(...tookMs)).toBeLessThan(50)
  })

  test('is none where the capture is shorter than the probe', () => {
    const { sampleRateHz, channels } = captured(healthy(), 0.5)
    const cut = channels.map((channel) => channel.subarray(0, 80_000))
    expect(readLeadProbe({ sampleRateHz, channels: cut }, NUMBERS)).toBeNull()
  })
})

const kindsOf = (verdicts: readonly LeadVerdict[]): string[] => verdicts.map(({ kind }) => kind)
const others = (verdicts: readonly LeadVerdict[]): number[] =>
  verdicts.filter(({ kind }) => kind !== 'agrees').map(({ outputNumber }) => outputNumber)
const withSpec = (number: number, change: Partial<OutputSpec>): OutputSpec => ({ ...outputs[number - 1], ...change })

describe('leads of the demo map', () => {
  // 200 probes together, fifty at a time.
  test.each(some([1, 51, 101, 151], 1))(
    'that are on their outputs agree, in fifty seeded probes from seed %d on',
    (from) => {
      const found = new Map<string, number>()
      for (let seed = from; seed < from + 50; seed++) {
        const startS = 0.05 + 0.0137 * (seed % 20)
        for (const { kind, outputNumber } of judged(healthy(), startS, 250 * (seed % 5) - 500, seed * 7919)) {
          const key = `${kind}${kind === 'agrees' ? '' : outputNumber}`
          found.set(key, (found.get(key) ?? 0) + 1)
        }
      }
      expect(Object.fromEntries(found)).toEqual({ agrees: 500 })
    },
  )

  test('that are exchanged are noticed, each of the 45 pairs, and no other lead is accused', () => {
    const readings = readLeadProbe(captured(healthy(), 0.7), NUMBERS)!
    let told = 0
    for (let a = 0; a < outputs.length; a++) {
      for (let b = a + 1; b < outputs.length; b++) {
        const [one, other] = [outputs[a], outputs[b]].map((spec) => mappedVrms(spec).map(dbFromRatio))
        if (isAlike(one, other)) continue
        told++
        const swapped = new Map(readings)
        swapped.set(a + 1, readings.get(b + 1)!).set(b + 1, readings.get(a + 1)!)
        const verdicts = judgeLeads(swapped, LEADS, outputs, RIG)
        const off = verdicts.filter(({ kind }) => kind === 'other')
        expect(off.map(({ outputNumber, mayBe }) => [outputNumber, ...mayBe])).toEqual([
          [a + 1, b + 1],
          [b + 1, a + 1],
        ])
        expect(kindsOf(verdicts).filter((kind) => kind === 'agrees')).toHaveLength(8)
      }
    }
    expect(told).toBe(45)
  })

  test('are told apart at another volume as well: 9 dB down on all', () => {
    const quiet = healthy().map((input) => ({ ...input, gainDb: -9 }))
    expect(others(judged(quiet))).toEqual([])
    const swapped = [quiet[3], quiet[1], quiet[2], quiet[0], ...quiet.slice(4)]
    expect(others(judged(swapped))).toEqual([1, 4])
  })

  test('that hear nothing are silent: nothing on the lead, or no more than what leaks from others', () => {
    const inputs = healthy()
    inputs[4] = { spec: null, noiseVrms: NOISE_VRMS }
    inputs[5] = { spec: outputs[4], gainDb: -50, noiseVrms: 1e-6 }
    expect(kindsOf(judged(inputs))).toEqual([
      'agrees',
      'agrees',
      'agrees',
      'agrees',
      'silent',
      'silent',
      ...Array(4).fill('agrees'),
    ])
  })

  test('on a noisy output are unsure, and never accused, whatever the noise', () => {
    const seen = new Set<string>()
    for (let noiseDb = 0; noiseDb <= 80; noiseDb += 8) {
      for (let seed = 1; seed <= 2; seed++) {
        const inputs = healthy()
        // From far under the probe (4 mV at a side) to far over it.
        inputs[4] = { spec: outputs[4], noiseVrms: NOISE_VRMS * 10 ** (noiseDb / 20) }
        const verdict = judged(inputs, 0.5, 0, seed * 100_003)[4]
        seen.add(verdict.kind)
        expect(['agrees', 'unsure']).toContain(verdict.kind)
        if (noiseDb === 80) expect(verdict.kind).toBe('unsure')
      }
    }
    expect([...seen].sort()).toEqual(['agrees', 'unsure'])
  })

  test.each([
    [0.01, ['agrees']],
    // 36 dB over the quietest output's tones.
    [0.1, ['agrees', 'unsure', 'unlike']],
  ])('with hum of %d V and its harmonics on all of them are not taken for others', (humV, allowed) => {
    const { sampleRateHz, channels } = captured(healthy(), 0.7)
    for (const channel of channels) {
      for (let h = 1; h <= 10; h++) {
        const peak = humV / h / 4
        for (let n = 0; n < channel.length; n++) channel[n] += peak * Math.sin((2 * Math.PI * 50 * h * n) / RATE_HZ)
      }
    }
    const verdicts = judgeLeads(readLeadProbe({ sampleRateHz, channels }, NUMBERS)!, LEADS, outputs, RIG)
    for (const kind of kindsOf(verdicts)) expect(allowed).toContain(kind)
  })

  test('that are like no output of the map are unlike, not taken for another', () => {
    const inputs = healthy()
    // The left tweeter hears half of each side: a summed output that the map doesn't have.
    inputs[0] = { spec: withSpec(1, { leftGain: 0.5, rightGain: 0.5 }), noiseVrms: NOISE_VRMS }
    expect(judged(inputs)[0]).toMatchObject({ kind: 'unlike', mayBe: [], hears: { sides: ['left', 'right'] } })
    expect(others(judged(inputs))).toEqual([1])
  })

  test.each([
    [
      'crossover half an octave higher',
      withSpec(3, { crossover: { shape: 'linkwitz_riley', lowHz: null, highHz: 4243 } }),
    ],
    [
      'crossover half an octave lower',
      withSpec(1, { crossover: { shape: 'linkwitz_riley', lowHz: 2121, highHz: null } }),
    ],
    ['3 dB too loud', withSpec(5, { levelVrms: vrms(1.8 * Math.SQRT2) })],
    ['3 dB too quiet', withSpec(7, { levelVrms: vrms(1.6 / Math.SQRT2) })],
  ])('agree though their output is not quite the map’s: %s', (_, spec) => {
    const inputs = healthy()
    inputs[spec.number - 1] = { spec, noiseVrms: NOISE_VRMS }
    expect(others(judged(inputs))).toEqual([])
  })
})

test('outputs that the map has alike are not guessed: both may be meant, and neither is accused', () => {
  const rear = { ...outputs[4], number: 11, label: 'second rear left' }
  const map = [...outputs, rear]
  const leads = inOrder(map)
  const inputs = [...healthy(), { spec: rear, noiseVrms: NOISE_VRMS }]
  const verdicts = judgeLeads(readLeadProbe(captured(inputs, 0.6), [...NUMBERS, 11])!, leads, map, RIG)
  expect(others(verdicts)).toEqual([])
  expect([...verdicts[4].mayBe].sort((a, b) => a - b)).toEqual([5, 11])
})
