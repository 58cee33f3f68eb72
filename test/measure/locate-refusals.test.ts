/** What is no whole track is refused, each case in its own words. */
import { describe, expect, test } from 'vitest'
import { locate } from '../../src/measure/locate.js'
import { sectionStartS, trackDurationS } from '../../src/stimulus/layout.js'
import { stopOf } from '../document/stop-of.js'
import { butterworth, filtered } from '../kit/biquad.js'
import { hiss } from '../kit/random.js'
import { audioOf, joined, playTrack } from '../kit/track.js'

const refusal = (samples: Float64Array, sampleRateHz = 48_000) =>
  stopOf(() => locate(audioOf(sampleRateHz, samples), 'take.wav'))

describe('a take without a track', () => {
  test('is silent when no sample reaches -84 dBFS', () => {
    const stop = refusal(hiss(20 * 48_000, 1e-5, 1))
    expect(stop.message).toBe(
      'the take is silent: 20.0 s, 1 input, no sample above -84 dBFS (take.wav). ' +
        'Check that the track was playing, that the leads are in, and that the right input was recorded.',
    )
    expect(stop.kind).toBe('input')
  })

  test('says how many inputs were silent', () => {
    const silence = new Float64Array(48_000)
    expect(stopOf(() => locate(audioOf(48_000, silence, silence, silence), 'take.wav')).what).toBe(
      'the take is silent: 1.0 s, 3 inputs, no sample above -84 dBFS',
    )
  })

  test('holds only noise in syllables, and says how near the best match came', () => {
    // Like speech: 200 Hz to 1 kHz, four syllables a second in phrases of three seconds.
    const samples = filtered(hiss(30 * 48_000, 0.3, 5), [
      ...butterworth('low', 2, 1000, 48_000),
      ...butterworth('high', 2, 200, 48_000),
    ])
    samples.forEach((value, n) => {
      const tS = n / 48_000
      samples[n] = value * Math.max(0, Math.sin(2 * Math.PI * 4 * tS)) * Math.max(0, Math.sin((2 * Math.PI * tS) / 6))
    })
    const stop = refusal(samples)
    const [, nearestPct, atS] = stop.what.match(
      /^no track found in 30\.0 s of 1 input: the nearest fit of a marker was (\d+) % at (\d+\.\d) s$/,
    )!
    // A chance fit over so narrow a band is well under a marker's own (over 90 %) and over nothing.
    expect(Number(nearestPct)).toBeGreaterThan(0)
    expect(Number(nearestPct)).toBeLessThan(40)
    expect(Number(atS)).toBeLessThan(30)
    expect(stop.remedy).toBe('Check that the track was played, at a level well above the noise.')
  })
})

describe('a part of the track', () => {
  test('that stops in the middle is cut short, and the missing seconds are right', () => {
    const stop = refusal(playTrack({ leadInS: 3, toS: 20 }).left)
    const [, beginsS, missingS] = stop.what.match(
      /^the track is cut short: it begins at (\d+\.\d) s, the recording ends (\d+\.\d) s before it does$/,
    )!
    // Truth: the timetable. Tolerance: what a technician reads off a clock.
    expect(Math.abs(Number(beginsS) - 3)).toBeLessThan(0.2)
    expect(Math.abs(Number(missingS) - (trackDurationS() - 20))).toBeLessThan(0.2)
    expect(stop.remedy).toBe('Record the track to its end, without a pause.')
  })

  test('that starts in the middle has no beginning, and says where its end is', () => {
    const stop = refusal(playTrack({ fromS: 20, tailS: 1 }).left)
    const [, closingAtS] = stop.what.match(
      /^the track's beginning is missing: its closing marker is at (\d+\.\d) s, the opening one is not there$/,
    )!
    expect(Math.abs(Number(closingAtS) - (sectionStartS('closing') - 20))).toBeLessThan(0.2)
    expect(stop.remedy).toBe('Start the recording before the track, and record it whole.')
  })

  test('with a pause of five seconds in the middle says how far apart its markers are', () => {
    const [first, second] = [playTrack({ toS: 20 }), playTrack({ fromS: 20, tailS: 1 })]
    const stop = refusal(joined(first.left, new Float64Array(5 * 48_000), second.left))
    const apartS = sectionStartS('closing') - sectionStartS('opening')
    // Only the left side is there: between its sweep and the tone in which the pause is, nothing tells.
    expect(stop.what).toBe(
      `the markers are ${(apartS + 5).toFixed(2)} s apart, the track's are ${apartS.toFixed(2)} s: ` +
        'it stood still for 5.0 s between the left sweep and the 60 Hz tone, from 12.3 to 21.3 s into the take',
    )
    expect(stop.remedy).toBe('The track was paused, skipped or played at another speed: play it through once more.')
  })
})

describe('several passes of which none is whole', () => {
  const whole = playTrack({ tailS: 1 }).left

  test('are said by the last one: the end of one, then the beginning of another', () => {
    const stop = refusal(joined(whole.subarray(20 * 48_000), whole.subarray(0, 20 * 48_000)))
    expect(stop.what).toMatch(
      /^the track is cut short: it begins at 20\.7 s, the recording ends 19\.7 s before it does$/,
    )
  })

  test('are said by the pass that has an end', () => {
    const [first, second] = [whole.subarray(0, 20 * 48_000), whole.subarray(20 * 48_000)]
    const stop = refusal(joined(first, new Float64Array(3 * 48_000), second, first))
    expect(stop.what).toMatch(/^the markers are 40\.30 s apart, the track's are 37\.30 s: it stood still for 3\.0 s /)
  })
})

describe('a track of another revision', () => {
  test('that is older asks for a new track', () => {
    const stop = refusal(playTrack({ revision: 0, tailS: 1 }).left)
    expect(stop.what).toBe('the track is of an older revision: 0, this program measures 1')
    expect(stop.remedy).toBe('Make the track anew with "linetrue track JOB --out FILE" and record it again.')
  })

  test('that is newer asks for a newer program', () => {
    const stop = refusal(playTrack({ revision: 3, tailS: 1 }).left)
    expect(stop.what).toBe('the track is of a newer revision: 3, this program measures 1')
    expect(stop.remedy).toBe('Update linetrue, or make the track with this version.')
  })
})

describe('a track at the wrong rate', () => {
  const remedy =
    'Set player and head unit to the rate of the track file, or make the track at their rate (track: sample_rate_hz in the job file).'

  test.each([
    [44_100, 48_000, '108.8', 'a 44.1 kHz track played as 48 kHz'],
    [48_000, 44_100, '91.9', 'a 48 kHz track played as 44.1 kHz'],
  ])('of %d Hz that runs at %d Hz is recognised', (madeHz, declaredHz, speedPct, says) => {
    const stop = refusal(playTrack({ sampleRateHz: madeHz, leadInS: 1, tailS: 1 }).left, declaredHz)
    expect(stop.what).toBe(`the track runs at ${speedPct} % of its speed: ${says}`)
    expect(stop.remedy).toBe(remedy)
  })
})
