/**
 * Writes WAV files so that a finished one is never half written: aside, as `NAME.part`, then renamed.
 *
 * A take is written as it comes. Its header says "up to the end of the file" until the take is finished, so that what a
 * killed run leaves can still be read.
 */
import { type FileHandle, open, rename, rm, writeFile } from 'node:fs/promises'
import type { Audio } from '../units/audio.js'
import { StopError } from '../units/stop.js'
import { encodeFrames, encodeWav } from '../wav/encode.js'
import { type WavSpec, wavHeader, wavPadByteCount } from '../wav/write-header.js'
import { stopFromFileError } from './file-errors.js'

/** Name under which a file is written until it is complete. */
export const partPath = (path: string): string => `${path}.part`

/**
 * Writes a whole WAV file with dither, aside and renamed.
 *
 * @param seed of the dither
 * @throws StopError when the folder is missing, not writable, or the disk is full
 */
export async function writeWavFile(path: string, audio: Audio, bits: 16 | 24, seed: number): Promise<void> {
  const aside = partPath(path)
  try {
    await writeFile(aside, encodeWav(audio, bits, seed), { flush: true })
    await rename(aside, path)
  } catch (error) {
    await rm(aside, { force: true }).catch(() => {})
    throw stopFromFileError(error, path, 'write')
  }
}

export interface TakeFormat {
  readonly sampleRateHz: number
  readonly channelCount: number
  /** 16 and 24 keep samples of a word of that size exactly; 32 is floating point and keeps everything. */
  readonly bits: 16 | 24 | 32
}

export class TakeFile {
  private frameCount = 0
  private failure: unknown = null
  private pending: Promise<void> = Promise.resolve()
  private isOpen = true

  private constructor(
    readonly path: string,
    private readonly file: FileHandle,
    private readonly format: TakeFormat,
    private readonly onFailure: (error: StopError) => void,
  ) {}

  /**
   * Starts a take.
   *
   * @param path where the finished take will stand; until then it grows beside it as `NAME.part`
   * @param onFailure called once, as soon as a block could not be written; finish() then throws the same
   * @throws StopError when the file cannot be made
   */
  static async create(
    path: string,
    format: TakeFormat,
    onFailure: (error: StopError) => void = () => {},
  ): Promise<TakeFile> {
    let file: FileHandle | null = null
    try {
      file = await open(partPath(path), 'w')
      await file.write(wavHeader(specOf(format, null)))
      return new TakeFile(path, file, format, onFailure)
    } catch (error) {
      await file?.close()
      throw stopFromFileError(error, path, 'write')
    }
  }

  /**
   * Adds a block; it is on its way to the disk when this returns.
   *
   * @param block one array for each channel, equal lengths; not changed, but not copied either before it is written
   */
  append(block: readonly Float32Array[]): void {
    if (!this.isOpen) throw new RangeError('TakeFile.append: the take is finished')
    if (block.length !== this.format.channelCount) {
      throw new RangeError(`TakeFile.append: ${block.length} channels, want ${this.format.channelCount}`)
    }
    const bytes = encodeFrames(block, this.format.bits, null)
    this.frameCount += block[0].length
    this.pending = this.pending.then(() => (this.failure === null ? this.writeAll(bytes) : undefined))
  }

  /** Length so far. */
  get durationS(): number {
    return this.frameCount / this.format.sampleRateHz
  }

  /**
   * Waits for the last block, writes the sizes and gives the file its name.
   *
   * @throws StopError when any of it could not be written; the part that could stays beside it as `NAME.part`
   */
  async finish(): Promise<void> {
    await this.settle()
    try {
      if (this.failure !== null) throw this.failure
      const spec = specOf(this.format, this.frameCount)
      if (wavPadByteCount(spec, this.frameCount) === 1) await this.file.write(new Uint8Array(1))
      await this.file.write(wavHeader(spec), 0, null, 0)
      await this.file.sync()
      await this.file.close()
      await rename(partPath(this.path), this.path)
    } catch (error) {
      await this.file.close().catch(() => {})
      throw stopFromFileError(error, this.path, 'write')
    }
  }

  /** Lets go of a take that is not wanted and removes what was written of it. */
  async discard(): Promise<void> {
    await this.settle()
    await this.file.close().catch(() => {})
    await rm(partPath(this.path), { force: true })
  }

  private async settle(): Promise<void> {
    if (!this.isOpen) throw new RangeError('TakeFile: the take is finished already')
    this.isOpen = false
    await this.pending
  }

  private async writeAll(bytes: Uint8Array): Promise<void> {
    try {
      for (let at = 0; at < bytes.length; ) at += (await this.file.write(bytes, at)).bytesWritten
    } catch (error) {
      this.failure = stopFromFileError(error, this.path, 'write')
      if (this.failure instanceof StopError) this.onFailure(this.failure)
    }
  }
}

const specOf = (format: TakeFormat, frameCount: number | null): WavSpec => ({
  ...format,
  encoding: format.bits === 32 ? 'float' : 'pcm',
  frameCount,
  hasRoomForLongSizes: true,
})
