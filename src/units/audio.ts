/** Samples of several channels at one rate. 1 is digital full scale; Float32 holds every 24-bit sample exactly. */
export interface Audio {
  readonly sampleRateHz: number
  readonly channels: readonly Float32Array[]
}

/** Number of samples in each channel. */
export const frameCountOf = (audio: Audio): number => audio.channels[0]?.length ?? 0

/** Length in seconds. */
export const durationS = (audio: Audio): number => frameCountOf(audio) / audio.sampleRateHz
