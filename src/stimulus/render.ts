/**
 * Renders the track with web-audio-api: sweeps and chirps from their closed forms, tones by oscillators.
 *
 * The graph runs in Float32; against the closed forms its error is below -140 dBFS (tested), under the dither of
 * the 24-bit file that it ends in.
 */
import type { Audio } from '../units/audio.js'
import { EXCERPT_OPENING_SPACING_S, type Excerpt } from './excerpt.js'
import {
  CHIRP,
  CLOSING_SPACING_S,
  chirpAt,
  openingSpacingS,
  SWEEP,
  sectionsOf,
  sweepAt,
  TONE_FADE_S,
  TRACK_REVISION,
  trackDurationS,
} from './layout.js'

export interface ToneBurst {
  readonly startS: number
  readonly durationS: number
  readonly tones: readonly { readonly freqHz: number; readonly peakFs: number }[]
}

/** A stretch of a closed-form signal on one side or both. */
interface Stretch {
  readonly side: 'left' | 'right' | 'both'
  readonly startS: number
  readonly durationS: number
  /** Sample value t seconds after startS. */
  readonly valueAt: (tS: number) => number
}

/** The whole track, stereo. The revision is a parameter only so that a track of another revision can be made for a test. */
export async function renderTrack(sampleRateHz: number, revision = TRACK_REVISION): Promise<Audio> {
  const stretches: Stretch[] = []
  const bursts: ToneBurst[] = []
  for (const section of sectionsOf()) {
    const { kind, startS } = section
    if (kind === 'opening') stretches.push(...marker(startS, openingSpacingS(revision)))
    if (kind === 'closing') stretches.push(...marker(startS, CLOSING_SPACING_S))
    if (kind === 'sweep_left') stretches.push(sweep('left', startS))
    if (kind === 'sweep_right') stretches.push(sweep('right', startS))
    if (section.tones.length > 0) bursts.push(section)
  }
  return render(sampleRateHz, trackDurationS(), stretches, bursts)
}

/** An excerpt of the track, stereo. */
export function renderExcerpt(sampleRateHz: number, excerpt: Excerpt): Promise<Audio> {
  const { prerollS, openingS, closingS, durationS, sections } = excerpt
  const preroll = { startS: 0, durationS: prerollS, tones: sectionsOf()[0].tones }
  const stretches = [
    ...marker(openingS, EXCERPT_OPENING_SPACING_S),
    ...sections.flatMap(({ kind, startS }) => {
      if (kind === 'sweep_left') return [sweep('left', startS)]
      return kind === 'sweep_right' ? [sweep('right', startS)] : []
    }),
    ...marker(closingS, CLOSING_SPACING_S),
  ]
  const bursts = [preroll, ...sections.filter(({ tones }) => tones.length > 0)]
  return render(sampleRateHz, durationS, stretches, bursts)
}

/** Tones alone, both sides alike: the soft start's probe and the tone for the meter. */
export const renderTones = (sampleRateHz: number, lengthS: number, bursts: readonly ToneBurst[]): Promise<Audio> =>
  render(sampleRateHz, lengthS, [], bursts)

function marker(startS: number, spacingS: number): Stretch[] {
  const valueAt = (tS: number): number => CHIRP.peakFs * chirpAt(tS).inPhase
  return [startS, startS + spacingS].map((atS) => ({
    side: 'both',
    startS: atS,
    durationS: CHIRP.durationS,
    valueAt,
  }))
}

const sweep = (side: 'left' | 'right', startS: number): Stretch => ({
  side,
  startS,
  durationS: SWEEP.durationS,
  valueAt: (tS) => SWEEP.peakFs * sweepAt(tS),
})

async function render(
  sampleRateHz: number,
  lengthS: number,
  stretches: readonly Stretch[],
  bursts: readonly ToneBurst[],
): Promise<Audio> {
  // The library is heavy, and most commands render nothing.
  const { AudioBuffer, OfflineAudioContext } = await import('web-audio-api')
  const frameCount = Math.ceil(lengthS * sampleRateHz)
  const context = new OfflineAudioContext(2, frameCount, sampleRateHz)

  if (stretches.length > 0) {
    const buffer = new AudioBuffer({ length: frameCount, sampleRate: sampleRateHz, numberOfChannels: 2 })
    const [left, right] = [buffer.getChannelData(0), buffer.getChannelData(1)]
    for (const { side, startS, durationS, valueAt } of stretches) {
      const last = Math.min(frameCount - 1, Math.floor((startS + durationS) * sampleRateHz))
      for (let n = Math.ceil(startS * sampleRateHz); n <= last; n++) {
        const value = valueAt(n / sampleRateHz - startS)
        if (side !== 'right') left[n] += value
        if (side !== 'left') right[n] += value
      }
    }
    const source = context.createBufferSource()
    source.buffer = buffer
    source.connect(context.destination)
    source.start(0)
  }

  for (const { startS, durationS, tones } of bursts) {
    for (const { freqHz, peakFs } of tones) {
      const oscillator = context.createOscillator()
      const envelope = context.createGain()
      oscillator.frequency.value = freqHz
      envelope.gain.setValueAtTime(0, startS)
      envelope.gain.linearRampToValueAtTime(peakFs, startS + TONE_FADE_S)
      envelope.gain.setValueAtTime(peakFs, startS + durationS - TONE_FADE_S)
      envelope.gain.linearRampToValueAtTime(0, startS + durationS)
      oscillator.connect(envelope)
      envelope.connect(context.destination)
      oscillator.start(startS)
      oscillator.stop(startS + durationS)
    }
  }
  const buffer = await context.startRendering()
  const channels = [0, 1].map((side) => buffer.getChannelData(Math.min(side, buffer.numberOfChannels - 1)))
  return { sampleRateHz, channels }
}
