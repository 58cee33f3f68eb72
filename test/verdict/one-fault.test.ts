/** One fault, one finding: cases in which a second one is easily invented. */

import { readFileSync } from 'node:fs'
import { expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import { allPass, peaking, shelf } from '../kit/biquad.js'
import { type Fault, faulty, findingsSaid, judged, vehicleOf } from '../kit/vehicle.js'
import { everyNth, isLong } from '../long.js'

const R = 48_000
const job = parseJob(readFileSync(new URL('../../captures/quillon/job.yaml', import.meta.url), 'utf8'), 'job.yaml')
const vehicle = vehicleOf(job)
const volts = (levelDbv: number): number => 10 ** (levelDbv / 20)
const hum = (freqHz: number, levelDbv: number): Fault['lines'] =>
  Array.from({ length: 8 }, (_, k) => ({ freqHz: freqHz * (k + 1), vrms: volts(levelDbv) / (k + 1) }))

const FAULTS: readonly (readonly [says: string, number: number, fault: Fault, finding: string])[] = [
  ['hears 2 dB less of the right', 7, { leftGain: 0.5, rightGain: 0.4 }, 'unbalanced 7 fail'],
  ['hears 6 dB less of the right', 7, { leftGain: 0.5, rightGain: 0.25 }, 'unbalanced 7 fail'],
  ['hears the sides in opposition', 7, { leftGain: 0.5, rightGain: -0.5 }, 'unbalanced 7 fail'],
  ['carries only highs', 5, { band: { lowHz: 3000, highHz: null } }, 'band-split 5 fail'],
  ['carries no highs', 5, { band: { lowHz: null, highHz: 3000 } }, 'band-split 5 fail'],
  ['carries only a subwoofer band', 5, { band: { lowHz: null, highHz: 80 } }, 'band-split 5 fail'],
  ['tweeter carries the full range', 1, { band: { lowHz: null, highHz: null } }, 'band-split 1 fail'],
  ['tweeter starts at 6 kHz', 1, { band: { lowHz: 6000, highHz: null } }, 'band-split 1 fail'],
  ['woofer carries the full range', 3, { band: { lowHz: null, highHz: null } }, 'band-split 3 fail'],
  ['bump at the reference', 5, { equaliser: [peaking(1000, 4, 1, R)] }, 'equalised 5 fail'],
  ['dip at the reference', 5, { equaliser: [peaking(1000, -6, 1, R)] }, 'equalised 5 fail'],
  ['bump beside the reference', 7, { equaliser: [peaking(800, 2, 1, R)] }, 'equalised 7 fail'],
  ['tweeter bump at 10 kHz', 1, { equaliser: [peaking(10_000, 4, 1, R)] }, 'equalised 1 fail'],
  ['subwoofer bump at 50 Hz', 9, { equaliser: [peaking(50, 6, 1, R)] }, 'equalised 9 fail'],
  ['treble shelf -6 dB is a tone control', 5, { equaliser: [shelf('high', 8000, -6, R)] }, 'equalised 5 fail'],
  ['bass shelf -6 dB is a tone control', 5, { equaliser: [shelf('low', 100, -6, R)] }, 'equalised 5 fail'],
  ['hisses at -60 dBV', 5, { hissVrms: volts(-60) }, 'noisy 5 fail'],
  ['hisses at -50 dBV', 8, { hissVrms: volts(-50) }, 'noisy 8 fail'],
  ['hisses at -40 dBV', 9, { hissVrms: volts(-40) }, 'noisy 9 fail'],
  ['whines at 300 Hz', 5, { lines: [{ freqHz: 300, vrms: volts(-60) }] }, 'noisy 5 fail'],
  ['whines at 500 Hz', 1, { lines: [{ freqHz: 500, vrms: volts(-70) }] }, 'noisy 1 fail'],
  ['whines at 1994 Hz, on a harmonic', 5, { lines: [{ freqHz: 1994, vrms: volts(-50) }] }, 'noisy 5 fail'],
  ['whines at 120 Hz, on a harmonic', 9, { lines: [{ freqHz: 120, vrms: volts(-50) }] }, 'noisy 9 fail'],
  ['hums at 60 Hz, -50 dBV, on harmonics', 9, { lines: hum(60, -50) }, 'humming 9 fail'],
  ['is 71 ms late', 5, { lateSamples: 3400 }, 'late 5 fail'],
  ['is 200 ms late', 9, { lateSamples: 9600 }, 'late 9 fail'],
  ['subwoofer with an all-pass', 9, { equaliser: [allPass(50, 1, R)] }, 'inverted 9 unsure'],
]

test.each(everyNth(FAULTS, 3))('%s (number %d)', (_, number, fault, finding) => {
  expect(findingsSaid(judged(vehicle, [[number, faulty(vehicle, number, fault)]]))).toEqual([finding])
})

test('a capture that is overdriven is no distorted output', () => {
  // Output 5 as mapped, on a card whose full scale is lower than the rig file says by design: map and signal at 6.5 V.
  const strong = {
    ...job,
    outputs: job.outputs.map((o) =>
      o.number === 5 ? { ...o, levelVrms: (o.levelVrms * 3.6) as typeof o.levelVrms, pair: null } : o,
    ),
  }
  const there = { ...vehicle, job: strong }
  const said = findingsSaid(judged(there, [[5, faulty(there, 5, { cardClips: true })]]))
  expect(said).toEqual(['clipped capture 5 unsure'])
})

test('two outputs that are summed alike are two findings and not a third that calls them alike', () => {
  const said = findingsSaid(
    judged(
      vehicle,
      [5, 6].map((n) => [n, faulty(vehicle, n, { leftGain: 0.5, rightGain: 0.5 })] as const),
    ),
  )
  expect(said).toEqual(['summed 5 fail', 'summed 6 fail'])
})

test('an output that carries its neighbour’s signal, while the neighbour does too', () => {
  const said = findingsSaid(judged(vehicle, [[5, vehicle.healthy.get(6)!]]))
  expect(said).toEqual(['swapped 5 fail'])
})

// The mono source below goes the same way.
test.runIf(isLong)('a balance control that is off centre', () => {
  const said = findingsSaid(
    judged(
      vehicle,
      job.outputs.map((s) => [s.number, faulty(vehicle, s.number, { rightGain: s.rightGain / 2 })] as const),
    ),
  )
  expect(said.length).toBe(1)
})

test('a mono source is one finding, though every output that should hear one side hears both', () => {
  const oneSided = job.outputs.filter(({ leftGain, rightGain }) => leftGain === 0 || rightGain === 0)
  const changed = oneSided.map(
    ({ number }) => [number, faulty(vehicle, number, { leftGain: 0.5, rightGain: 0.5 })] as const,
  )
  expect(findingsSaid(judged(vehicle, changed))).toEqual(['summed 1,2,3,4,5,6,9,10 fail'])
})

test('the same hum on all outputs is one finding, and the bench is looked at first', () => {
  const changed = job.outputs.map(({ number }) => [number, faulty(vehicle, number, { lines: hum(50, -60) })] as const)
  const judgement = judged(vehicle, changed)
  expect(findingsSaid(judgement)).toEqual(['humming 1,2,3,4,5,6,7,8,9,10 fail'])
  expect(judgement.findings[0].next).toContain('capture computer')
})

test('an output that mutes even the quiet tone is not noisy for what is left of it', () => {
  const healthy = vehicle.healthy.get(5)!
  // A gate that opens and shuts leaves a tenth of the tone, and 60 dB more "noise" than the output has.
  const gated = {
    ...healthy.present,
    tonePeakFs: 0.1 * healthy.present.tonePeakFs!,
    unweightedFs: 1e-3,
    aWeightedFs: 1e-3,
  }
  const { findings } = judged(vehicle, [[5, { ...healthy, present: gated }]])
  expect(findings.map(({ kind, outputs, verdict }) => [kind, outputs, verdict])).toEqual([['muting', [5], 'pass']])
})
