/** A take that began with a marker: from its own first block on everything is kept, on disk and in memory. */
import type { Block, CaptureFault } from '../rig/roles.js'
import type { Audio } from '../units/audio.js'
import { SoundWatch } from './sound-watch.js'
import { joined, type MakeSink, type TakeSink } from './take.js'

export class HeardTake {
  readonly sound = new SoundWatch()
  private readonly blocks: Block[] = []
  private sink: TakeSink | null = null
  private readonly opening: Promise<void>
  private isDropped = false

  /**
   * @param markerFrame where the opening marker's first chirp stands in the capture
   * @param blocks what has been captured of the take already
   * @param onFailure called when the take's file cannot be made, or can take no more
   */
  constructor(
    readonly markerFrame: number,
    readonly firstFrame: number,
    private readonly format: { readonly sampleRateHz: number; readonly inputCount: number },
    makeSink: MakeSink | null,
    blocks: readonly Block[],
    onFailure: (error: unknown) => void,
  ) {
    this.blocks.push(...blocks)
    this.opening = makeSink === null ? Promise.resolve() : this.open(makeSink, onFailure).catch(onFailure)
  }

  private async open(makeSink: MakeSink, onFailure: (error: unknown) => void): Promise<void> {
    const sink = await makeSink(this.format.sampleRateHz, this.format.inputCount, onFailure)
    if (this.isDropped) return sink.discard()
    this.sink = sink
    for (const block of this.blocks) sink.append(block)
  }

  add(block: Block): void {
    this.blocks.push(block)
    this.sink?.append(block)
  }

  async finish(faults: readonly CaptureFault[]): Promise<Audio> {
    await this.opening
    await this.sink?.finish(faults)
    return { sampleRateHz: this.format.sampleRateHz, channels: joined(this.blocks, this.format.inputCount) }
  }

  /** Lets go of the take and of its file. */
  async drop(): Promise<void> {
    this.isDropped = true
    this.blocks.length = 0
    await this.opening
    await this.sink?.discard().catch(() => {})
  }
}
