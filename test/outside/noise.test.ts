/** The noise family against other programs: sox makes noise and a moving line, scipy reads the same files. */
import { execFileSync } from 'node:child_process'
import { fileURLToPath } from 'node:url'
import { afterAll, describe, expect, test } from 'vitest'
import { readRecording } from '../../src/instruments/recording.js'
import { dynamicRange } from '../../src/measure/dynamic-range.js'
import { engineNoise } from '../../src/measure/engine-noise.js'
import { readNoise } from '../../src/measure/noise-reading.js'
import { sectionsOf } from '../../src/stimulus/layout.js'
import { needsTool } from '../tools.js'
import { openWorkshop, PATIENT_MS, sox, writeTrack } from './outside.js'

const workshop = openWorkshop('noise')
afterAll(() => workshop.remove())

const RATE_HZ = 48_000
const COUNT = Math.round(5.1 * RATE_HZ)
const SCRIPT = fileURLToPath(new URL('noise.py', import.meta.url))
const db = (ratio: number): number => 20 * Math.log10(ratio)

type Levels = Record<'unweighted' | 'a' | 'c' | 'bs468' | 'ccir_rms', number>
const byScipy = (path: string, from: number, to: number, ...toneHz: readonly number[]): Levels =>
  JSON.parse(
    execFileSync('/usr/bin/python3', [SCRIPT, path, String(from), String(to), ...toneHz.map(String)], {
      encoding: 'utf8',
    }),
  )

describe('levels of noise that sox made are those that scipy reads', () => {
  for (const colour of ['whitenoise', 'pinknoise', 'brownnoise']) {
    for (const toneHz of [null, 997]) {
      test(`${colour}${toneHz ? ' under a tone' : ''}`, { timeout: PATIENT_MS }, async (context) => {
        needsTool(context, 'sox', 'scipy')
        const [noise, path] = [workshop.at(`${colour}.wav`), workshop.at(`${colour} ${toneHz}.wav`)]
        const form = ['-r', String(RATE_HZ), '-c', '1', '-b', '24']
        sox('-n', ...form, noise, 'synth', `${COUNT}s`, colour, 'vol', '-60dB')
        if (toneHz === null) sox(noise, ...form, path)
        else {
          const tone = workshop.at('tone.wav')
          sox('-n', ...form, tone, 'synth', `${COUNT}s`, 'sine', String(toneHz), 'vol', '-50dB')
          sox('-m', '-v', '1', noise, '-v', '1', tone, ...form, path)
        }
        const samples = (await readRecording(path)).audio.channels[0]
        const reading = readNoise(samples, RATE_HZ, toneHz)
        const levels = byScipy(path, 0, COUNT, ...(toneHz === null ? [] : [toneHz]))
        // Both read the same samples, but the blocks here weigh those at the ends less: the readings differ by less than one scatters.
        // The rational network lies within 0.09 dB of the table, and interpolation adds as much: 0.05 dB for white noise.
        const pairs = [
          ['unweighted', reading.unweightedFs, levels.unweighted, reading.unweightedU, 0],
          ['A', reading.aWeightedFs, levels.a, reading.aWeightedU, 0],
          ['C', reading.cWeightedFs, levels.c, reading.cWeightedU, 0],
          ['BS.468', reading.bs468Fs, levels.bs468, reading.bs468U, 0.06],
          ['CCIR-RMS', reading.ccirRmsFs, levels.ccir_rms, reading.bs468U, 0.06],
        ] as const
        for (const [name, ours, theirs, u, tableDb] of pairs) {
          expect(Math.abs(db(ours / theirs)), name).toBeLessThan(db(1 + 3 * u) + tableDb)
        }
      })
    }
  }
})

test('the track as a 16-bit file has the dynamic range of a 16-bit word', { timeout: PATIENT_MS }, async (context) => {
  needsTool(context, 'sox', 'scipy')
  const path = await writeTrack(workshop.at('range.wav'), RATE_HZ, 16)
  const { startS, durationS } = sectionsOf().find(({ kind }) => kind === 'quiet_tone')!
  const [from, to] = [Math.round((startS + 0.2) * RATE_HZ), Math.round((startS + durationS - 0.1) * RATE_HZ)]
  const samples = (await readRecording(path)).audio.channels[0].subarray(from, to)
  const range = dynamicRange(readNoise(samples, RATE_HZ, 997), 1)!
  // Truth: published for a perfect word with TPDF dither; and what scipy reads.
  const theirs = byScipy(path, from, to, 997)
  for (const [ours, u, truthDb, read, tableDb] of [
    [range.unweightedDb, range.unweightedDbU, 94.1155, theirs.unweighted, 0],
    [range.aWeightedDb, range.aWeightedDbU, 96.1637, theirs.a, 0],
    [range.ccirRmsDb, range.ccirRmsDbU, 92.4827, theirs.ccir_rms, 0.06],
  ] as const) {
    expect(Math.abs(ours - truthDb)).toBeLessThan(4 * u)
    expect(Math.abs(ours + db(read))).toBeLessThan(3 * u + tableDb)
  }
})

test('a line that sox moves is followed', { timeout: PATIENT_MS }, async (context) => {
  needsTool(context, 'sox')
  const form = ['-r', String(RATE_HZ), '-c', '1', '-b', '24']
  const at = (name: string): string => workshop.at(`${name}.wav`)
  sox('-n', ...form, at('stopped'), 'synth', `${COUNT}s`, 'pinknoise', 'vol', '-70dB')
  sox('-n', ...form, at('hiss'), 'synth', `${COUNT}s`, 'pinknoise', 'vol', '-70dB', 'reverse')
  // From 1200 Hz to 1260 Hz evenly, and its double.
  sox('-n', ...form, at('first'), 'synth', `${COUNT}s`, 'sine', '1200:1260', 'vol', '-70dB')
  sox('-n', ...form, at('second'), 'synth', `${COUNT}s`, 'sine', '2400:2520', 'vol', '-76dB')
  sox('-m', '-v', '1', at('hiss'), '-v', '1', at('first'), '-v', '1', at('second'), ...form, at('running'))
  const [running, stopped] = await Promise.all(
    ['running', 'stopped'].map(async (name) => (await readRecording(at(name))).audio.channels[0]),
  )
  const { whine, hissRiseDb, hissRiseDbU } = engineNoise(
    running,
    RATE_HZ,
    readNoise(running, RATE_HZ, null),
    readNoise(stopped, RATE_HZ, null),
  )
  expect(whine!.orders).toEqual([1, 2])
  expect(whine!.isMoving).toBe(true)
  // Its ends are the middles of the second and of the last block but one, 0.17 s and 0.24 s from those of the file.
  expect(Math.abs(whine!.lowHz - (1200 + (60 * 0.171) / 5.1))).toBeLessThan(0.3)
  expect(Math.abs(whine!.highHz - (1260 - (60 * 0.236) / 5.1))).toBeLessThan(0.3)
  // Levels that sox was told: -70 dB and -76 dB.
  const truth = Math.hypot(10 ** -3.5, 10 ** -3.8)
  expect(Math.abs(db(whine!.rmsFs / truth))).toBeLessThan(db(1 + 4 * whine!.relativeU) + 0.02)
  expect(Math.abs(hissRiseDb!)).toBeLessThan(4 * hissRiseDbU)
})
