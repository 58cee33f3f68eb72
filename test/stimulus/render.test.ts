import { expect, test } from 'vitest'
import {
  CHIRP,
  CLOSING_SPACING_S,
  chirpAt,
  SWEEP,
  sectionStartS,
  sectionsOf,
  sweepAt,
  sweepPhaseRad,
  TONE_PEAK_FS,
  trackDurationS,
} from '../../src/stimulus/layout.js'
import { renderTrack } from '../../src/stimulus/render.js'

// Half a unit in the last place of a Float32 between 0.25 and 0.5 is 2^-26; the graph adds silence only.
const FLOAT32_ERROR = 2 ** -26

test.each([44_100, 48_000])(
  'a track at %d Hz plays each sweep on its own side as the closed form says',
  async (rateHz) => {
    const { channels } = await renderTrack(rateHz)
    for (const [side, kind] of ['sweep_left', 'sweep_right'].entries()) {
      const startS = sectionStartS(kind as 'sweep_left' | 'sweep_right')
      let [worst, other] = [0, 0]
      for (let n = Math.ceil(startS * rateHz); n < (startS + SWEEP.durationS) * rateHz; n++) {
        worst = Math.max(worst, Math.abs(channels[side][n] - SWEEP.peakFs * sweepAt(n / rateHz - startS)))
        other = Math.max(other, Math.abs(channels[1 - side][n]))
      }
      expect(worst).toBeLessThan(FLOAT32_ERROR)
      expect(other).toBe(0)
    }
  },
)

test.each([44_100, 48_000])('steady tones at %d Hz are sines of their level, clean to -140 dB', async (rateHz) => {
  const { channels } = await renderTrack(rateHz)
  for (const section of sectionsOf().filter(({ kind }) => kind === 'tone')) {
    const { freqHz } = section.tones[0]
    const first = Math.ceil((section.startS + 0.5) * rateHz)
    // One second holds whole periods of each tone, so two projections are its least-squares fit.
    let [sine, cosine, residual] = [0, 0, 0]
    const stepRad = (2 * Math.PI * freqHz) / rateHz
    for (let n = 0; n < rateHz; n++) {
      sine += (2 / rateHz) * channels[0][first + n] * Math.sin(stepRad * n)
      cosine += (2 / rateHz) * channels[0][first + n] * Math.cos(stepRad * n)
    }
    for (let n = 0; n < rateHz; n++) {
      residual += (channels[0][first + n] - sine * Math.sin(stepRad * n) - cosine * Math.cos(stepRad * n)) ** 2
    }
    // Truth: the level asked for. Float32 rounding of the gain is 6e-8 of it, 5e-7 dB.
    expect(20 * Math.log10(Math.hypot(sine, cosine) / TONE_PEAK_FS)).toBeCloseTo(0, 5)
    expect(10 * Math.log10((2 * residual) / rateHz)).toBeLessThan(-140)
    expect(channels[1].subarray(first, first + rateHz)).toEqual(channels[0].subarray(first, first + rateHz))
  }
})

test('the second closing chirp stands at its time, and the track ends half a second after it', async () => {
  const rateHz = 48_000
  const { channels } = await renderTrack(rateHz)
  const startS = sectionStartS('closing') + CLOSING_SPACING_S
  const n = Math.round((startS + 0.1) * rateHz)
  expect(channels[0][n]).toBeCloseTo(CHIRP.peakFs * chirpAt(n / rateHz - startS).inPhase, 7)
  expect(channels[0].length).toBe(Math.ceil(trackDurationS() * rateHz))
})

test('the sweep is synchronised: f1 L is a whole number, and harmonic n lies L ln n before the linear response', () => {
  // Truth: A. Novak, P. Lotton, L. Simon, JAES 63(10), 2015: phase(t + L ln n) = n phase(t) when f1 L is whole.
  expect(Number.isInteger(SWEEP.freqHzStart * SWEEP.rateS)).toBe(true)
  for (const order of [2, 3, 5]) {
    const early = sweepPhaseRad(1, SWEEP.freqHzStart, SWEEP.rateS)
    const late = sweepPhaseRad(1 + SWEEP.rateS * Math.log(order), SWEEP.freqHzStart, SWEEP.rateS)
    expect(late / early).toBeCloseTo(order, 10)
  }
})
