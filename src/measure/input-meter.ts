/**
 * A level meter for the inputs of a card: what came since the last look, cheap enough to run on every block.
 *
 * Levels are rms as a fraction of a full-scale sine's rms (AES17-2015), a constant part taken off; peaks are fractions of
 * digital full scale, with the constant part, because that is what clips.
 */

/** A converter stops at its last code or, behind a resampler, a little before it. */
export const CLIPPED_FS = 1 - 2 ** -13

export interface InputLevel {
  /** Rms over that of a full-scale sine: 1 for a sine that just reaches full scale. */
  readonly levelFs: number
  /** Largest sample, without its sign. */
  readonly peakFs: number
  /** Mean of the samples: an offset of the converter. */
  readonly meanFs: number
  /** Samples that reached the end of the scale. */
  readonly clippedCount: number
  readonly frameCount: number
}

interface Sums {
  sum: number
  squares: number
  peakFs: number
  clippedCount: number
}

const nothing = (): Sums => ({ sum: 0, squares: 0, peakFs: 0, clippedCount: 0 })

export class InputMeter {
  private sums: Sums[]
  private frameCount = 0

  /** @throws RangeError when there is no input */
  constructor(private readonly inputCount: number) {
    if (inputCount < 1) throw new RangeError(`InputMeter: ${inputCount} inputs`)
    this.sums = Array.from({ length: inputCount }, nothing)
  }

  /** @param block one array for each input, equal lengths, 1 is digital full scale */
  add(block: readonly Float32Array[]): void {
    if (block.length !== this.inputCount) {
      throw new RangeError(`InputMeter: a block of ${block.length} inputs, want ${this.inputCount}`)
    }
    this.frameCount += block[0].length
    block.forEach((samples, k) => {
      addTo(this.sums[k], samples)
    })
  }

  /** Levels since the last call, one for each input; null where nothing came. */
  read(): readonly InputLevel[] | null {
    const { frameCount, sums } = this
    if (frameCount === 0) return null
    this.sums = sums.map(nothing)
    this.frameCount = 0
    return sums.map((one) => levelOf(one, frameCount))
  }
}

/** Level of one stretch. */
export function inputLevel(samples: Float32Array): InputLevel {
  const sums = nothing()
  addTo(sums, samples)
  return levelOf(sums, samples.length)
}

function addTo(sums: Sums, samples: Float32Array): void {
  let { sum, squares, peakFs, clippedCount } = sums
  for (let n = 0; n < samples.length; n++) {
    const sample = samples[n]
    const size = Math.abs(sample)
    sum += sample
    squares += sample * sample
    if (size > peakFs) peakFs = size
    if (size >= CLIPPED_FS) clippedCount++
  }
  Object.assign(sums, { sum, squares, peakFs, clippedCount })
}

function levelOf({ sum, squares, peakFs, clippedCount }: Sums, frameCount: number): InputLevel {
  const meanFs = frameCount === 0 ? 0 : sum / frameCount
  // Rounding may leave a constant signal a little below nothing.
  const variance = frameCount === 0 ? 0 : Math.max(0, squares / frameCount - meanFs * meanFs)
  return { levelFs: Math.sqrt(2 * variance), peakFs, meanFs, clippedCount, frameCount }
}
