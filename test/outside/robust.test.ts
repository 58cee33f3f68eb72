/**
 * Takes as they come about: other rates at either end, clocks far apart, long lead-ins, sound before and after, a track that
 * was started twice, codecs. sox and ffmpeg make them, and what they were told is the truth.
 */
import { afterAll, describe, expect, test } from 'vitest'
import { readRecording } from '../../src/instruments/recording.js'
import { analyseInput } from '../../src/measure/analyse.js'
import { locate } from '../../src/measure/locate.js'
import { sweepReference } from '../../src/measure/transfer.js'
import { trackDurationS } from '../../src/stimulus/layout.js'
import { some } from '../long.js'
import { needsTool } from '../tools.js'
import { ffmpeg, openWorkshop, PATIENT_MS, sox, writeTrack } from './outside.js'

const workshop = openWorkshop('robust')
afterAll(() => workshop.remove())

const trackFile = (rateHz: number): Promise<string> => writeTrack(workshop.at(`track ${rateHz}.wav`), rateHz, 24)
const locatedIn = async (path: string) => locate((await readRecording(path)).audio, path)

describe('one rate played, another captured, on clocks 500 ppm apart', () => {
  // Two outputs: the left side, and the right one inverted and late by 53 samples of the track. sox's speed makes a file
  // shorter by that factor, its resampler is flat and has no delay. Tolerance: 1 µs, the aim for a delay; the clock by
  // what it does to 5.4 s of track, 0.05 ppm is a quarter of that.
  const lateSamples = 53
  const rates: readonly (readonly [trackHz: number, captureHz: number, speed: number])[] = [
    [44_100, 96_000, 0.9995],
    [44_100, 48_000, 1.0005],
    [48_000, 192_000, 1.0005],
  ]
  test.for(some(rates, 1))(
    '%d into %d Hz at %d of its speed: polarity, delay and clock are right',
    { timeout: PATIENT_MS },
    async ([trackHz, captureHz, speed], context) => {
      needsTool(context, 'sox')
      const path = workshop.at(`${trackHz} into ${captureHz}.wav`)
      const [one, two] = ['one.wav', 'two.wav'].map((name) => workshop.at(name))
      const track = await trackFile(trackHz)
      sox(track, '-b', '32', '-e', 'float', one, 'remix', '1v0.5')
      sox(track, '-b', '32', '-e', 'float', two, 'remix', '2v-0.4', 'pad', `${lateSamples}s`)
      sox(
        '-M',
        one,
        two,
        '-b',
        '24',
        '-e',
        'signed',
        path,
        'pad',
        '2',
        '1',
        'speed',
        `${speed}`,
        'rate',
        '-v',
        '-s',
        `${captureHz}`,
      )
      const { audio } = await readRecording(path)
      const located = locate(audio, path)
      expect(Math.abs(located.clockOffsetPpm - 1e6 * (1 / speed - 1))).toBeLessThan(0.05)
      expect(Math.abs(located.clockDriftPpm!)).toBeLessThan(located.clockDriftPpmU!)
      const reference = sweepReference(located)
      const [left, right] = audio.channels.map((channel) => analyseInput(channel, located, reference))
      expect([left.left!.sign, right.right!.sign]).toEqual([1, -1])
      const lateS = right.right!.delayS - left.left!.delayS
      expect(Math.abs(lateS - lateSamples / trackHz)).toBeLessThan(1e-6)
    },
  )
})

describe('a recording with more in it than the track', () => {
  /** Stereo sounds by sox, 48 kHz and 24 bits. */
  const sound = (name: string, lengthS: number, ...effects: readonly string[]): string => {
    const path = workshop.at(`${name}.wav`)
    sox('-n', '-r', '48000', '-b', '24', '-c', '2', path, 'synth', String(lengthS), ...effects)
    return path
  }
  const part = async (fromS: number, lengthS: number, ...effects: readonly string[]): Promise<string> => {
    const path = workshop.at(`part ${fromS} ${lengthS}.wav`)
    sox(await trackFile(48_000), path, 'trim', `${fromS}`, `${lengthS}`, ...effects)
    return path
  }

  // Truth: lengths of the parts, which sox joins without a gap.
  test('a minute of noise, speech-like and music-like sound, a broken pass, then the whole track', {
    timeout: PATIENT_MS,
  }, async (context) => {
    needsTool(context, 'sox')
    const before = [
      sound('noise', 30, 'pinknoise', 'vol', '0.2'),
      sound('speech', 15, 'pinknoise', 'bandpass', '800', '1.2o', 'tremolo', '4', '90', 'vol', '1.5'),
      sound('music', 15, 'pluck', 'C2', 'pluck', 'E3', 'remix', '1,2', '1,2', 'repeat', '0', 'vol', '0.4'),
      await part(0, 17),
      sound('hum', 5, 'sine', '50', 'vol', '0.02'),
    ]
    const path = workshop.at('everything.wav')
    sox(...before, await trackFile(48_000), sound('after', 10, 'brownnoise', 'vol', '0.3'), path)
    const located = await locatedIn(path)
    const startS = 30 + 15 + 15 + 17 + 5
    expect(Math.abs(located.startSample / 48_000 - startS)).toBeLessThan(1e-5)
    expect(Math.abs(located.clockOffsetPpm)).toBeLessThan(0.05)
    expect([located.trackCount, located.trackNumber]).toEqual([1, 1])
  })

  test('the track twice, talked over the first time: the second is measured', {
    timeout: PATIENT_MS,
  }, async (context) => {
    needsTool(context, 'sox')
    const whole = await trackFile(48_000)
    const talk = sound(
      'talk',
      trackDurationS(),
      'pinknoise',
      'bandpass',
      '600',
      '1.5o',
      'tremolo',
      '3',
      '80',
      'vol',
      '0.3',
    )
    const [spoilt, path] = [workshop.at('spoilt.wav'), workshop.at('twice.wav')]
    sox('-m', '-v', '1', whole, '-v', '1', talk, spoilt)
    sox(spoilt, sound('pause', 3, 'sine', '100', 'vol', '0.0005'), whole, path)
    const located = await locatedIn(path)
    expect([located.trackCount, located.trackNumber]).toEqual([2, 2])
    expect(located.startSample / 48_000).toBeGreaterThan(trackDurationS() + 2)
    expect(Math.abs(located.clockOffsetPpm)).toBeLessThan(0.05)
  })
})

describe('through a codec, after a minute of silence, on clocks 300 ppm apart', () => {
  // Truth: the speed that sox was told. A codec's noise is some 80 dB under the tones; 0.1 ppm is 0.5 µs between the sweeps.
  const codecs = [
    ['aac', ['-c:a', 'aac', '-b:a', '192k'], 'm4a'],
    ['sbc', ['-c:a', 'sbc', '-b:a', '328k'], 'sbc'],
    ['mp3', ['-c:a', 'libmp3lame', '-b:a', '192k'], 'mp3'],
  ] as const
  test.for(some(codecs, 1))('%s', { timeout: PATIENT_MS }, async ([name, encode, ending], context) => {
    needsTool(context, 'sox', 'ffmpeg')
    const speed = 0.9997
    const [coded, decoded, path] = [`${name}.${ending}`, `${name} decoded.wav`, `${name}.wav`].map((file) =>
      workshop.at(file),
    )
    ffmpeg('-i', await trackFile(44_100), ...encode, coded)
    ffmpeg('-i', coded, '-c:a', 'pcm_s24le', decoded)
    sox(decoded, '-b', '24', path, 'vol', '0.5', 'pad', '60', '1', 'speed', `${speed}`, 'rate', '-v', '-s', '48000')
    const located = await locatedIn(path)
    expect(Math.abs(located.clockOffsetPpm - 1e6 * (1 / speed - 1))).toBeLessThan(0.1)
    expect(Math.abs(located.clockDriftPpm!)).toBeLessThan(1)
    expect(located.clockJumpS).toBe(0)
    // Codecs put some silence in front: up to 0.1 s.
    expect(located.startSample / 48_000).toBeGreaterThan(60 / speed - 0.01)
    expect(located.startSample / 48_000).toBeLessThan(60 / speed + 0.1)
  })
})
