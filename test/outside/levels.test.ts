/**
 * Levels and noise of recordings, held against the statistics that sox and ffmpeg print for the same files.
 *
 * Both tools print a full-scale sine as -3.01 dB rms; AES17 calls it 0 dBFS, and so do we (AES17-2015, 3.12.1).
 */
import { afterAll, describe, expect, test } from 'vitest'
import { readRecording } from '../../src/instruments/recording.js'
import { analyseInput } from '../../src/measure/analyse.js'
import { locate } from '../../src/measure/locate.js'
import { readNoise } from '../../src/measure/noise-reading.js'
import { readTone } from '../../src/measure/tone-reading.js'
import { sweepReference } from '../../src/measure/transfer.js'
import { sectionsOf } from '../../src/stimulus/layout.js'
import { needsTool } from '../tools.js'
import { openWorkshop, PATIENT_MS, run, sox, writeTrack } from './outside.js'

const workshop = openWorkshop('levels')
afterAll(() => workshop.remove())

/** 10 lg 2: from the rms of general tools to that of AES17. */
const TO_AES17_DB = 10 * Math.log10(2)
const db = (ratio: number): number => 20 * Math.log10(ratio)

/** What `sox stats` prints in one row, as numbers; the first is that of all channels where there are several. */
const soxRow = (text: string, row: string): number[] =>
  new RegExp(`^${row}\\s+(.+)$`, 'm').exec(text)![1].trim().split(/\s+/).map(Number)
const soxRmsDb = (path: string, ...effects: string[]): number[] =>
  soxRow(sox(path, '-n', ...effects, 'stats'), 'RMS lev dB')

/** What `ffmpeg -af astats` prints for each channel under a heading. */
function ffmpegStats(path: string, heading: string): number[] {
  const text = run('ffmpeg', '-nostdin', '-i', path, '-af', 'astats=measure_overall=none', '-f', 'null', '-')
  return [...text.matchAll(new RegExp(`${heading}: (\\S+)`, 'g'))].map(([, value]) => Number(value))
}

describe('a sine', () => {
  const files = [
    { bits: 16, levelDb: -6, rateHz: 44_100, freqHz: 997 },
    { bits: 24, levelDb: -20, rateHz: 48_000, freqHz: 997 },
    { bits: 24, levelDb: -3, rateHz: 96_000, freqHz: 60 },
    { bits: 24, levelDb: -60, rateHz: 48_000, freqHz: 6300 },
  ]
  // Truth: sox and ffmpeg, each with its own reader. sox prints hundredths (0.005 dB); whole periods, so the rms has no
  // rest of one. Our window is flat within 0.0021 dB; dither of 16 bits at -96 dBFS adds 1e-8 to a power 90 dB above
  // it.
  test.for(files)('of %o reads 3.01 dB over what they print', async ({ bits, levelDb, rateHz, freqHz }, context) => {
    needsTool(context, 'sox', 'ffmpeg')
    const path = workshop.at(`sine ${bits} ${rateHz} ${freqHz}.wav`)
    const synth = ['synth', '2', 'sine', String(freqHz), 'vol', `${levelDb}dB`]
    sox('-n', '-r', String(rateHz), '-b', String(bits), '-c', '1', path, ...synth)
    const { audio } = await readRecording(path)
    const readDb = db(readTone(audio.channels[0], freqHz, rateHz).peakFs)
    expect(Math.abs(readDb - (soxRmsDb(path)[0] + TO_AES17_DB))).toBeLessThan(0.008)
    expect(Math.abs(readDb - (ffmpegStats(path, 'RMS level dB')[0] + TO_AES17_DB))).toBeLessThan(0.003)
    expect(Math.abs(readDb - levelDb)).toBeLessThan(0.003)
  })
})

describe('noise', () => {
  // Truth: sox and ffmpeg see the whole band, we 20 Hz to 20 kHz; so the noise is kept inside by sox's own filters
  // (120 dB down beside it). Estimates of the same 6 s: ours leaves out parts of the ends, so it spreads by
  // 1 / √(2 × 16 kHz × 6 s) = 0.2 % of power, 0.01 dB; with sox's hundredths 0.05 dB is more than three of them.
  test.for([
    { bits: 16, rateHz: 44_100 },
    { bits: 24, rateHz: 48_000 },
  ])('of %o inside the band reads 3.01 dB over what they print', { timeout: PATIENT_MS }, async (file, context) => {
    needsTool(context, 'sox', 'ffmpeg')
    const path = workshop.at(`noise ${file.rateHz}.wav`)
    const format = ['-r', String(file.rateHz), '-b', String(file.bits), '-c', '2']
    const synth = ['synth', '6', 'whitenoise', 'whitenoise', 'vol', '-40dB', 'sinc', '-a', '120', '100-16k']
    sox('-n', ...format, path, ...synth)
    const { audio } = await readRecording(path)
    const [, ...soxDb] = soxRmsDb(path)
    const ffmpegDb = ffmpegStats(path, 'RMS level dB')
    expect(audio.channels).toHaveLength(2)
    audio.channels.forEach((channel, k) => {
      const readDb = db(readNoise(channel, file.rateHz, null).unweightedFs)
      expect(Math.abs(readDb - (soxDb[k] + TO_AES17_DB))).toBeLessThan(0.05)
      expect(Math.abs(readDb - (ffmpegDb[k] + TO_AES17_DB))).toBeLessThan(0.05)
    })
  })

  // Truth: closed form. White noise to half the rate has 19 980 Hz / (rate / 2) of its power in the band: 0.796 dB less
  // at 48 kHz (integral of the curve of IEC 61672-1 over the band). Spread as above.
  test('that reaches beyond the band is counted inside it only', { timeout: PATIENT_MS }, async (context) => {
    needsTool(context, 'sox')
    const path = workshop.at('white.wav')
    sox('-n', '-r', '48000', '-b', '24', '-c', '1', path, 'synth', '6', 'whitenoise', 'vol', '-40dB')
    const { audio } = await readRecording(path)
    const readDb = db(readNoise(audio.channels[0], 48_000, null).unweightedFs)
    const insideDb = 10 * Math.log10((20_000 - 20) / 24_000)
    expect(Math.abs(readDb - (soxRmsDb(path)[0] + TO_AES17_DB + insideDb))).toBeLessThan(0.05)
  })

  // Truth: IEC 61672-1:2013, Annex E, as sox filters of one pole each: 20.6 Hz twice, 107.7 Hz and 737.9 Hz high-pass,
  // 12 194 Hz low-pass twice, and 2.0 dB so that 1 kHz is 0. At 192 kHz these digital poles are within 0.02 dB of the
  // analogue ones up to 8 kHz (where e^-w and 1 / (1 + w) part), and the noise ends there. Spread: the weighting leaves
  // about half the band, 0.02 dB. 0.08 dB holds both and sox's hundredths.
  test('is A-weighted as a chain of the standard poles does it', { timeout: PATIENT_MS }, async (context) => {
    needsTool(context, 'sox')
    const path = workshop.at('to weight.wav')
    const synth = ['synth', '6', 'pinknoise', 'vol', '-20dB', 'sinc', '-a', '120', '25-8k']
    sox('-n', '-r', '48000', '-b', '24', '-c', '1', path, ...synth)
    const highPasses = ['20.598997', '20.598997', '107.65265', '737.86223'].flatMap((hz) => ['highpass', '-1', hz])
    const lowPasses = ['lowpass', '-1', '12194.217', 'lowpass', '-1', '12194.217']
    const weighted = soxRmsDb(path, 'rate', '-v', '192k', ...highPasses, ...lowPasses, 'gain', '1.9997')[0]
    const { audio } = await readRecording(path)
    const { aWeightedFs, unweightedFs } = readNoise(audio.channels[0], 48_000, null)
    expect(Math.abs(db(aWeightedFs) - (weighted + TO_AES17_DB))).toBeLessThan(0.08)
    // The weighting has something to do here: pink noise loses more than 2 dB by it.
    expect(db(unweightedFs / aWeightedFs)).toBeGreaterThan(2)
  })

  // Truth: sox, from the lines alone: the same file before the noise was mixed in. The noise in the lines' own bins,
  // 90 dB down over 20 kHz, is 3 Hz × 16 lines of it, 27 dB less still: nothing against lines at -70 dBFS.
  test('with mains lines in it tells their rms sum', { timeout: PATIENT_MS }, async (context) => {
    needsTool(context, 'sox')
    const [lines, hiss, both] = ['lines.wav', 'hiss.wav', 'both.wav'].map(workshop.at)
    const format = ['-r', '48000', '-b', '24', '-c', '1']
    const mix = ['synth', '6', 'sine', '60', 'synth', 'sine', 'mix', '180', 'vol', '-70dB']
    sox('-n', ...format, lines, ...mix)
    sox('-n', ...format, hiss, 'synth', '6', 'whitenoise', 'vol', '-90dB')
    sox('-m', '-v', '1', lines, '-v', '1', hiss, '-b', '24', both)
    const { audio } = await readRecording(both)
    const { hum } = readNoise(audio.channels[0], 48_000, null)
    expect(hum?.freqHz).toBe(60)
    expect(hum!.lineHz.map((hz) => Math.round(hz / 60))).toEqual([1, 3])
    expect(Math.abs(db(hum!.rmsFs) - (soxRmsDb(lines)[0] + TO_AES17_DB))).toBeLessThan(0.05)
  })
})

describe('a take of the track', () => {
  // Truth: sox's rms of the stretch in which each tone stands, cut out by its timetable. 1.7 s of 60 Hz is a whole
  // number of periods, of the others nearly: the rest is below 0.005 dB (closed form: 997 Hz over 0.1 s ±0.007), as
  // are noise and distortion of a copied file. Peaks: exact but for the two decimals printed.
  test('has the tones and peaks that sox prints for its sections', { timeout: PATIENT_MS }, async (context) => {
    needsTool(context, 'sox')
    await writeTrack(workshop.at('track.wav'), 48_000, 24)
    const take = workshop.at('take.wav')
    const remix = ['remix', '1v0.5', '2v-0.25', '1v0.3,2v0.3']
    sox(workshop.at('track.wav'), '-b', '24', take, 'pad', '2', '0.5', ...remix)
    const { audio } = await readRecording(take)
    const located = locate(audio, take)
    const sweeps = sweepReference(located)
    const analyses = audio.channels.map((channel) => analyseInput(channel, located, sweeps))
    const tones = sectionsOf().filter(({ kind }) => kind === 'tone')
    expect(tones).toHaveLength(3)
    tones.forEach(({ startS }, j) => {
      const [, ...soxDb] = soxRmsDb(take, 'trim', String(2 + startS + 0.2), '1.7')
      analyses.forEach(({ tones: read }, k) => {
        expect(Math.abs(db(read[j].peakFs) - (soxDb[k] + TO_AES17_DB)), `input ${k}, tone ${j}`).toBeLessThan(0.012)
      })
    })
    const [silence, quiet] = ['silence', 'quiet_tone'].map((kind) => sectionsOf().find((one) => one.kind === kind)!)
    const span = [2 + silence.startS, quiet.startS + quiet.durationS - silence.startS].map(String)
    const [, ...peaksDb] = soxRow(sox(take, '-n', 'trim', ...span, 'stats'), 'Pk lev dB')
    analyses.forEach(({ peakFs }, k) => {
      expect(Math.abs(db(peakFs) - peaksDb[k])).toBeLessThan(0.006)
    })
  })
})
