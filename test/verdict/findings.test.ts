/**
 * One fault, one finding: wires of the demo vehicle's ten outputs with one thing wrong, through locating, measuring and
 * judging. Truth: the fault that was put in. A second finding is an invention, and so is an output that fails beside it.
 */

import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import type { InputAnalysis } from '../../src/measure/input-analysis.js'
import { peaking, shelf } from '../kit/biquad.js'
import { type Fault, faulty, findingsSaid, judged, louder, vehicleOf } from '../kit/vehicle.js'
import { everyNth } from '../long.js'

const RATE_HZ = 48_000
const job = parseJob(readFileSync(new URL('../../captures/quillon/job.yaml', import.meta.url), 'utf8'), 'job.yaml')
const vehicle = vehicleOf(job)

const volts = (levelDbv: number): number => 10 ** (levelDbv / 20)
const hum = (freqHz: number, levelDbv: number): Fault['lines'] =>
  Array.from({ length: 4 }, (_, k) => ({ freqHz: freqHz * (k + 1), vrms: volts(levelDbv) / (k + 1) }))

/** The findings, and the outputs that do not pass. */
function outcomeOf(changed: Iterable<readonly [number, InputAnalysis]>): { findings: string[]; notPassed: number[] } {
  const judgement = judged(vehicle, changed)
  return {
    findings: findingsSaid(judgement),
    notPassed: judgement.outputs.filter(({ verdict }) => verdict !== 'pass').map(({ number }) => number),
  }
}

test('the healthy vehicle passes with nothing to say', () => {
  const judgement = judged(vehicle)
  expect(judgement.verdict).toBe('pass')
  expect(judgement.findings).toEqual([])
  expect(judgement.summary).toBe('All 10 outputs are as the map says.')
})

const FAULTS: readonly (readonly [says: string, number: number, fault: Fault, finding: string])[] = [
  ['is dead', 5, { isDead: true }, 'dead 5 fail'],
  ['is dead', 9, { isDead: true }, 'dead 9 fail'],
  ['is 6 dB weak', 7, { gainDb: -6 }, 'weak 7 fail'],
  ['is 20 dB weak', 1, { gainDb: -20 }, 'weak 1 fail'],
  ['is 4 dB too strong', 3, { gainDb: 4 }, 'strong 3 fail'],
  ['is inverted', 1, { isInverted: true }, 'inverted 1 fail'],
  ['is inverted', 8, { isInverted: true }, 'inverted 8 fail'],
  ['is inverted', 9, { isInverted: true }, 'inverted 9 fail'],
  ['hears half of each side', 5, { leftGain: 0.5, rightGain: 0.5 }, 'summed 5 fail'],
  ['hears both sides in full', 2, { leftGain: 1, rightGain: 1 }, 'summed 2 fail'],
  ['hears the other side 34 dB down', 3, { leftGain: 1, rightGain: 0.02 }, 'leaking 3 fail'],
  ['hears the other side 10 dB down', 10, { leftGain: 0.3, rightGain: 1 }, 'leaking 10 fail'],
  ['does not hear the right side', 7, { leftGain: 0.5, rightGain: 0 }, 'unbalanced 7 fail'],
  ['carries nothing under 150 Hz', 5, { band: { lowHz: 150, highHz: null } }, 'band-split 5 fail'],
  ['goes up an octave too far', 9, { band: { lowHz: null, highHz: 160 } }, 'band-split 9 fail'],
  ['carries lows that it should not', 7, { band: { lowHz: null, highHz: null } }, 'band-split 7 fail'],
  ['has 6 dB of bass boost', 5, { equaliser: [peaking(60, 6, 1, RATE_HZ)] }, 'equalised 5 fail'],
  [
    'has a factory curve',
    7,
    { equaliser: [peaking(125, 4.1, 1.1, RATE_HZ), peaking(5000, -3, 1.4, RATE_HZ), shelf('high', 9000, 3, RATE_HZ)] },
    'equalised 7 fail',
  ],
  ['hums at 50 Hz, -70 dBV', 5, { lines: hum(50, -70) }, 'humming 5 fail'],
  ['hums at 60 Hz, -60 dBV', 8, { lines: hum(60, -60) }, 'humming 8 fail'],
  ['hisses at -70 dBV', 6, { hissVrms: volts(-70) }, 'noisy 6 fail'],
  ['whines at 1270 Hz, -60 dBV', 5, { lines: [{ freqHz: 1270, vrms: volts(-60) }] }, 'noisy 5 fail'],
  ['clips at 60 % of full scale', 5, { clipFs: 0.6 }, 'distorted 5 fail'],
  ['is bent', 9, { a2: 0.1, a3: 0.05 }, 'distorted 9 fail'],
  ['is 5 ms late', 5, { lateSamples: 240 }, 'late 5 fail'],
  ['is 1 ms late on top of the 12 ms that it should be', 8, { lateSamples: 48 }, 'late 8 fail'],
  ['is 13 ms late', 9, { lateSamples: 624 }, 'late 9 fail'],
]

test.each(everyNth(FAULTS, 3))(
  'an output that %s (number %d) is that one finding, and nothing else fails',
  (_, number, fault, finding) => {
    expect(outcomeOf([[number, faulty(vehicle, number, fault)]])).toEqual({ findings: [finding], notPassed: [number] })
  },
)

test('a pair that differs by 0.8 dB is a finding of the pair, and both outputs pass', () => {
  expect(outcomeOf([[5, faulty(vehicle, 5, { gainDb: 0.8 })]])).toEqual({
    findings: ['unbalanced 5,6 fail'],
    notPassed: [],
  })
})

describe('leads on each other’s outputs', () => {
  const healthy = (number: number): InputAnalysis => vehicle.healthy.get(number)!

  test.each([
    [1, 2],
    [5, 6],
    [9, 10],
    [7, 8],
    [1, 9],
    [3, 5],
  ])('%d and %d swapped are one finding', (a, b) => {
    expect(
      outcomeOf([
        [a, healthy(b)],
        [b, healthy(a)],
      ]),
    ).toEqual({ findings: [`swapped ${a},${b} fail`], notPassed: [a, b] })
  })

  test('a round of three is one finding', () => {
    expect(
      outcomeOf([
        [1, healthy(2)],
        [2, healthy(5)],
        [5, healthy(1)],
      ]),
    ).toEqual({ findings: ['swapped 1,2,5 fail'], notPassed: [1, 2, 5] })
  })
})

describe('what all outputs have in common', () => {
  const all = (gain: number): [number, InputAnalysis][] =>
    [...vehicle.healthy].map(([number, analysis]) => [number, louder(analysis, gain)])

  test.each([-10, -3, 3])('a volume of %d dB is one finding', (offsetDb) => {
    const { findings } = outcomeOf(all(10 ** (offsetDb / 20)))
    expect(findings).toEqual(['volume 1,2,3,4,5,6,7,8,9,10 fail'])
  })

  test('an inversion is one finding', () => {
    expect(outcomeOf(all(-1)).findings).toEqual(['inverted 1,2,3,4,5,6,7,8,9,10 fail'])
  })

  test('a volume and one output that is weak besides are two findings', () => {
    const quieter = all(10 ** (-10 / 20)).map(([number, analysis]): [number, InputAnalysis] =>
      number === 6 ? [6, louder(analysis, 10 ** (-5 / 20))] : [number, analysis],
    )
    expect(outcomeOf(quieter).findings).toEqual(['volume 1,2,3,4,5,6,7,8,9,10 fail', 'weak 6 fail'])
  })
})

test('samples at full scale make a finding of the capture', () => {
  expect(outcomeOf([[4, { ...vehicle.healthy.get(4)!, clippedSampleCount: 40 }]])).toEqual({
    findings: ['clipped capture 4 unsure'],
    notPassed: [4],
  })
})
