/** How head unit and amplifiers have to be set before anything is measured: asked for once, and kept with the result. */

export interface WantedSetting {
  readonly name: string
  /** How it has to be, to be read after its name: bass at zero. */
  readonly asked: string
}

/** @param volumeStep what the volume reads at the reference take; null where the job does not say */
export const settingsToAsk = (volumeStep: number | null): readonly WantedSetting[] => [
  { name: 'bass', asked: 'at zero' },
  { name: 'treble', asked: 'at zero' },
  { name: 'balance', asked: 'in the middle' },
  { name: 'fader', asked: 'in the middle' },
  { name: 'loudness', asked: 'off' },
  { name: 'surround and sound effects', asked: 'off' },
  { name: 'speed-dependent volume', asked: 'off' },
  { name: 'volume', asked: volumeStep === null ? 'as in your job notes' : `at ${volumeStep}` },
  { name: 'engine', asked: 'off' },
  { name: 'amplifier gains', asked: 'down, or the amplifiers unplugged' },
]
