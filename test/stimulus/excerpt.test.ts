import { expect, test } from 'vitest'
import { locateExcerpt } from '../../src/measure/locate-excerpt.js'
import { sweepReference, transferOf } from '../../src/measure/transfer.js'
import { excerptOf, staircaseHzFor } from '../../src/stimulus/excerpt.js'
import { sectionStartS, sectionsOf } from '../../src/stimulus/layout.js'
import { renderExcerpt, renderTrack } from '../../src/stimulus/render.js'
import { captureOf, jobOf, modelOf, rigOf } from '../vehicle/scene.js'

const RATE_HZ = 48_000

test('an excerpt holds the sections of the track sample for sample, at their distances', async () => {
  const track = await renderTrack(RATE_HZ)
  for (const kind of ['sweeps', 'staircases'] as const) {
    const excerpt = excerptOf(kind)
    const { channels } = await renderExcerpt(RATE_HZ, excerpt)
    const inTrack = sectionsOf().find((section) => section.kind === excerpt.sections[0].kind)!
    const last = excerpt.sections.at(-1)!
    const count = Math.floor((last.startS + last.durationS - excerpt.sections[0].startS) * RATE_HZ)
    // The sections begin between samples, at the same fraction in both.
    const [from, fromTrack] = [excerpt.sections[0].startS * RATE_HZ, inTrack.startS * RATE_HZ].map(Math.ceil)
    let worst = 0
    for (let n = 0; n < count - 1; n++) {
      worst = Math.max(worst, Math.abs(channels[0][from + n] - track.channels[0][fromTrack + n]))
    }
    // Tolerance: Float32 of sines at phases of up to 1e5 rad: 2^-25 and what rounding of time makes of 20 kHz.
    expect(worst).toBeLessThan(1e-6)
    expect(channels[0].length / RATE_HZ).toBeLessThan(16)
  }
}, 30_000)

test('an excerpt is located as the track of which it is a part, and its response is the vehicle', async () => {
  const job = jobOf('{ number: 1, label: a, left: 1, right: 0, level_vrms: 2 }')
  const excerpt = excerptOf('sweeps')
  const played = await renderExcerpt(RATE_HZ, excerpt)
  const captured = await captureOf(modelOf(job, 'capture: { clock_offset_ppm: 40 }'), played, rigOf(1), [1])
  const located = locateExcerpt(captured.audio, excerpt, 'take')
  const startOfExcerpt = located.startSample + excerpt.laterInTrackS * located.samplesPerS
  // Truth: the model's own place and clock. Tolerances: `locate` finds a clean take within 0.05 samples; 0.02 samples over
  // 12 s of 48 kHz are 0.04 ppm, the coupling capacitor's phase moves a chirp by some 0.2 samples.
  expect(Math.abs(startOfExcerpt - captured.startSample)).toBeLessThan(0.3)
  expect(Math.abs(located.clockOffsetPpm - 40)).toBeLessThan(0.2)
  const transfer = transferOf(captured.audio.channels[0], sweepReference(located))
  const gains = [...transfer.freqHz.keys()]
    .filter((i) => transfer.freqHz[i] >= 30 && transfer.freqHz[i] <= 16_000)
    .map((i) => 20 * Math.log10(Math.hypot(transfer.leftRe[i], transfer.leftIm[i])))
  // Truth: flat but for a coupling of 1.8 to 2.2 Hz: 0.02 dB at 30 Hz. 2 V ± 0.1 dB at a card of 4 V: -6 dB.
  expect(Math.max(...gains) - Math.min(...gains)).toBeLessThan(0.05)
  expect(Math.abs(gains[0] + 6.02)).toBeLessThan(0.15)
  expect(sectionStartS('sweep_right') - sectionStartS('sweep_left')).toBeCloseTo(
    excerpt.sections[1].startS - excerpt.sections[0].startS,
    9,
  )
}, 30_000)

test('the staircase of an output is the one nearest to where its level is read', () => {
  expect([40, 1000, 1025, 7746].map(staircaseHzFor)).toEqual([60, 997, 997, 6300])
})
