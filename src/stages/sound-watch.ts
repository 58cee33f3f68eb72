/**
 * Whether a track that a person started still plays: some input has to stand out of what it hears in the track's own silence.
 *
 * The longest that a whole track may leave an input without a sound is 9 s: a right tweeter hears neither the left sweep nor most
 * of the right one.
 */
import { sectionStartS, sectionsOf } from '../stimulus/layout.js'

/** Times from the opening marker's first chirp. */
const SILENCE = (() => {
  const { startS, durationS } = sectionsOf().find(({ kind }) => kind === 'silence')!
  const fromS = startS - sectionStartS('opening')
  return { fromS: fromS + 0.1, toS: fromS + durationS }
})()
/** Power over that of the silence. */
const SOUND_OVER = 4
const GONE_S = 10

export class SoundWatch {
  private readonly floors: number[] = []
  private lastSoundS = SILENCE.toS

  /**
   * Looks at the latest stretch.
   * @param fromS, toS where it stands, from the opening marker
   * @returns false when the sound has gone
   */
  look(stretch: readonly Float32Array[], fromS: number, toS: number): boolean {
    if (fromS < SILENCE.fromS) return true
    const powers = stretch.map(powerOf)
    if (toS <= SILENCE.toS) {
      for (const [k, power] of powers.entries()) this.floors[k] = Math.min(this.floors[k] ?? power, power)
      return true
    }
    if (powers.some((power, k) => power > SOUND_OVER * (this.floors[k] ?? power) + Number.MIN_VALUE))
      this.lastSoundS = toS
    return toS - this.lastSoundS < GONE_S
  }

  /** Seconds from the opening marker to where the sound was heard last. */
  get soundUntilS(): number {
    return this.lastSoundS
  }
}

function powerOf(samples: Float32Array): number {
  let [sum, squares] = [0, 0]
  for (let n = 0; n < samples.length; n++) {
    sum += samples[n]
    squares += samples[n] * samples[n]
  }
  const mean = sum / samples.length
  return squares / samples.length - mean * mean
}
