/** The track through the coders of ffmpeg, and through none: what is said of the source. */
import { afterAll, describe, expect, test } from 'vitest'
import { readRecording } from '../../src/instruments/recording.js'
import { locate } from '../../src/measure/locate.js'
import { type LossySource, readLossySource } from '../../src/measure/lossy-source.js'
import { readTone } from '../../src/measure/tone-reading.js'
import { sweepReference, transferOf } from '../../src/measure/transfer.js'
import { sectionsOf } from '../../src/stimulus/layout.js'
import { half, some } from '../long.js'
import { needsTool } from '../tools.js'
import { ffmpeg, openWorkshop, PATIENT_MS, writeTrack } from './outside.js'

const workshop = openWorkshop('lossy')
afterAll(() => workshop.remove())

/** The track through a chain, read as a take of one output. */
async function sourceIn(path: string): Promise<{ source: LossySource; thdOf: (freqHz: number) => number }> {
  const { audio } = await readRecording(path)
  const located = locate(audio, path)
  const { samplesPerS, startSample } = located
  const samples = audio.channels[0]
  const captured = sectionsOf()
    .filter(({ kind }) => kind === 'tone' || kind === 'quiet_tone')
    .map(({ kind, startS, durationS, tones: [{ freqHz }] }) => ({
      kind,
      freqHz,
      samples: samples.subarray(
        Math.round(startSample + (startS + 0.2) * samplesPerS),
        Math.round(startSample + (startS + durationS - 0.1) * samplesPerS),
      ),
    }))
  const loud = captured.filter(({ kind }) => kind === 'tone')
  const quiet = captured.find(({ kind }) => kind === 'quiet_tone')!
  return {
    source: readLossySource(quiet, loud, samplesPerS, transferOf(samples, sweepReference(located))),
    thdOf: (freqHz) => readTone(loud.find((one) => one.freqHz === freqHz)!.samples, freqHz, samplesPerS).thdRatio,
  }
}

describe('the track through a coder', () => {
  // Rows: name, ending, ffmpeg's coder and bit rate, rate of the track, band limit (kHz, from and to; null: none or that of
  // the sweep). Limits: what the coder's own low-pass is known to do at that rate.
  const coders: readonly [string, string, readonly string[], number, readonly [number, number] | null][] = [
    ['MP3 at 128 kbit/s', 'mp3', ['-c:a', 'libmp3lame', '-b:a', '128k'], 44_100, [16, 17.2]],
    ['MP3 at 320 kbit/s', 'mp3', ['-c:a', 'libmp3lame', '-b:a', '320k'], 48_000, [20, 20.7]],
    ['AAC at 256 kbit/s', 'm4a', ['-c:a', 'aac', '-b:a', '256k'], 44_100, null],
    ['AAC at 128 kbit/s', 'm4a', ['-c:a', 'aac', '-b:a', '128k'], 48_000, [17, 18]],
    ['SBC of 44.1 kHz', 'sbc', ['-c:a', 'sbc', '-b:a', '328k'], 44_100, null],
    ['SBC of 48 kHz', 'sbc', ['-c:a', 'sbc', '-b:a', '345k'], 48_000, null],
  ]
  for (const [name, ending, coder, rateHz, limitKhz] of half(coders)) {
    test(`${name} is a lossy source, and shows no THD that its reach does not allow for`, {
      timeout: PATIENT_MS,
    }, async (context) => {
      needsTool(context, 'ffmpeg')
      const track = await writeTrack(workshop.at(`track ${rateHz}.wav`), rateHz, 16)
      const [coded, take] = [workshop.at(`coded.${ending}`), workshop.at(`${name.replace('/', ' ')}.wav`)]
      ffmpeg('-i', track, ...coder, coded)
      ffmpeg('-i', coded, '-c:a', 'pcm_s24le', take)
      const { source, thdOf } = await sourceIn(take)
      expect(source.isLossy).toBe('yes')
      expect(source.because.length).toBeGreaterThan(0)
      if (limitKhz === null) expect(source.bandLimitHz).toBeNull()
      else {
        expect(source.bandLimitHz! / 1000).toBeGreaterThan(limitKhz[0])
        expect(source.bandLimitHz! / 1000).toBeLessThan(limitKhz[1])
      }
      expect(source.under.map(({ freqHz }) => freqHz)).toEqual([997, 60, 6300])
      // The track itself has no harmonics: what is read is the coder's, and has to lie within the reach that is stated.
      for (const { freqHz, thdReachRatio } of source.under) expect(thdOf(freqHz)).toBeLessThan(thdReachRatio)
    })
  }

  test.each(some([44_100, 48_000], 1))(
    'that loses nothing is none, at %d Hz and 16 bits',
    { timeout: PATIENT_MS },
    async (rateHz) => {
      const track = await writeTrack(workshop.at(`clean ${rateHz}.wav`), rateHz, 16)
      const { source } = await sourceIn(track)
      expect([source.isLossy, source.because, source.bandLimitHz]).toEqual(['no', [], null])
    },
  )
})
