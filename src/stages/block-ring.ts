/** The last seconds of a capture that goes on for as long as it takes: older blocks are let go of. Frames count from its start. */
import type { Block } from '../rig/roles.js'

export class BlockRing {
  private blocks: Block[] = []
  private first = 0
  private end = 0
  private rooms: Float32Array[] = []

  constructor(
    private readonly inputCount: number,
    private readonly frameCount: number,
  ) {}

  /** Frame after the last one. */
  get endFrame(): number {
    return this.end
  }

  /** The first frame that is still there. */
  get firstFrame(): number {
    return this.first
  }

  push(block: Block): void {
    this.blocks.push(block)
    this.end += block[0].length
    let old = 0
    while (this.end - this.first - this.blocks[old][0].length >= this.frameCount) {
      this.first += this.blocks[old][0].length
      old++
    }
    if (old > 0) this.blocks.splice(0, old)
  }

  /** The last so many frames, or as many as there are: one array for each input, overwritten by the next call. */
  last(count: number): readonly Float32Array[] {
    const from = Math.max(this.first, this.end - count)
    if (this.rooms[0]?.length !== this.end - from) {
      this.rooms = Array.from({ length: this.inputCount }, () => new Float32Array(this.end - from))
    }
    let at = 0
    for (const block of this.since(from)) {
      for (let k = 0; k < this.inputCount; k++) this.rooms[k].set(block[k], at)
      at += block[0].length
    }
    return this.rooms
  }

  /** Blocks from a frame on, the first of them cut there. */
  since(frame: number): Block[] {
    const kept: Block[] = []
    let at = this.first
    for (const block of this.blocks) {
      const cut = Math.max(0, frame - at)
      const length = block[0].length
      if (cut < length) kept.push(cut === 0 ? block : block.map((channel) => channel.subarray(cut)))
      at += length
    }
    return kept
  }
}
