/** Chimes against other programs: sox makes one in pink noise, numpy reads its level, scipy knows the F distribution. */
import { execFileSync } from 'node:child_process'
import { afterAll, expect, test } from 'vitest'
import { readRecording } from '../../src/instruments/recording.js'
import { findChime } from '../../src/measure/chime.js'
import { thresholdOf } from '../../src/measure/chime-spectra.js'
import { needsTool } from '../tools.js'
import { openWorkshop, PATIENT_MS, sox } from './outside.js'

const workshop = openWorkshop('chime')
afterAll(() => workshop.remove())
const python = (code: string, ...args: string[]): string =>
  execFileSync('/usr/bin/python3', ['-c', code, ...args], { encoding: 'utf8' })

test('the threshold is the quantile that scipy gives for F(2, 2K)', { timeout: PATIENT_MS }, (context) => {
  needsTool(context, 'scipy')
  const cases = [
    [65.4, 1, 0.01],
    [65.4, 5e6, 1e-3],
    [20, 1000, 0.1],
  ] as const
  const asked = cases.map(([worth, cells, falseAlarm]) => `(${falseAlarm / cells}, ${2 * worth})`)
  const code = `from scipy.stats import f\nfor p, d in [${asked.join()}]: print(repr(float(f.isf(p, 2, d))))`
  const theirs = python(code).trim().split('\n').map(Number)
  cases.forEach((one, k) => {
    const [worth, cells, falseAlarm] = one
    expect(thresholdOf(worth, cells, falseAlarm) / theirs[k]).toBeCloseTo(1, 8)
  })
})

test('a chime that sox put into pink noise is found where, and as loud, as it was made', {
  timeout: PATIENT_MS,
}, async (context) => {
  needsTool(context, 'sox', 'scipy')
  const form = ['-r', '48000', '-c', '1', '-b', '24']
  const [burst, chime, noise, both] = ['burst', 'chime', 'noise', 'both'].map((name) => workshop.at(`${name}.wav`))
  sox('-n', ...form, burst, 'synth', '0.2', 'sine', '1000', 'vol', '-40dB', 'fade', 'h', '0.008', '0.2', '0.008')
  // Two seconds, then four bursts, one every half second.
  sox(burst, ...form, chime, 'pad', '0', '0.3', 'repeat', '3', 'pad', '2', '1')
  sox('-n', ...form, noise, 'synth', '5', 'pinknoise', 'vol', '-50dB')
  sox('-m', '-v', '1', chime, '-v', '1', noise, ...form, both)
  const { audio } = await readRecording(both)
  const found = findChime(audio.channels, 48_000, 1.5, [1])!
  const middle = workshop.at('middle.raw')
  sox(chime, '-t', 'f64', middle, 'trim', '2.02', '0.16')
  const rms = Number(
    python('import sys, numpy as np; print(np.sqrt(2 * np.mean(np.fromfile(sys.argv[1]) ** 2)))', middle),
  )
  expect(Math.abs(found.inputs[0].vrms / rms - 1)).toBeLessThan(3 * found.inputs[0].relativeU)
  expect(found.onsetS).toHaveLength(4)
  expect(Math.abs(found.onsetS[0] - 2.004)).toBeLessThan(3 * found.timeU)
  expect(Math.abs(found.ratePerS! - 2)).toBeLessThan(0.03)
  expect(Math.abs(found.freqHz - 1000)).toBeLessThan(2 * found.freqU)
})
