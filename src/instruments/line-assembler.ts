/**
 * Lines out of bytes. Instruments end them with LF, CR LF or CR; empty ones are dropped.
 *
 * Where the middle of a line may be passing by, its rest is no line: of "+12.34 V" the end "2.34 V" looks like a reading.
 */
import { ReadlineParser } from '@serialport/parser-readline'
import type { Decoder } from './feed.js'

/** Of a line that does not end, more than this is not kept. */
export const LINE_CHARACTER_COUNT_MAX = 200

const [LF, CR] = [10, 13]
/** NUL and flow control are no part of a line. */
const SILENT = new Set([0, 17, 19])
const utf8 = new TextDecoder('utf-8', { fatal: true })

export class LineAssembler implements Decoder<string> {
  private readonly found: string[] = []
  private parser = this.newParser()
  /** What comes up to the next line end is the rest of a line that began too early. */
  private isSkipping = true
  private skipped: number[] = []
  private isAtStart = false

  /** What has come since the question without a line end, for messages; '' where that is nothing. */
  get half(): string {
    return textOf(this.isSkipping ? Buffer.from(this.skipped) : this.parser.buffer)
  }

  push(bytes: Uint8Array): string[] {
    // The parser knows one line end, and keeps a line of any length.
    const kept: number[] = []
    let characterCount = this.isSkipping ? this.skipped.length : this.parser.buffer.length
    for (const byte of bytes) {
      if (SILENT.has(byte)) continue
      const isEnd = byte === LF || byte === CR
      const isRoom = isEnd || characterCount < LINE_CHARACTER_COUNT_MAX
      if (isRoom) (this.isSkipping ? this.skipped : kept).push(isEnd ? LF : byte)
      if (isEnd) this.isSkipping = false
      characterCount = isEnd ? 0 : characterCount + 1
      this.isAtStart = isEnd
    }
    this.parser.write(Buffer.from(kept))
    return this.found.splice(0)
  }

  startOver(isAsked: boolean): void {
    this.parser = this.newParser()
    this.isSkipping = !isAsked && !this.isAtStart
    this.skipped = []
  }

  /** Hands on its lines while it is written to. */
  private newParser(): ReadlineParser {
    const parser = new ReadlineParser({ delimiter: '\n', encoding: 'latin1' })
    return parser.on('data', (line: string) => {
      const text = textOf(Buffer.from(line, 'latin1'))
      if (text !== '') this.found.push(text)
    })
  }
}

/** The signs of ohm and micro come as UTF-8 from some meters, as one byte from others. */
function textOf(bytes: Buffer): string {
  try {
    return utf8.decode(bytes).trim()
  } catch {
    return bytes.toString('latin1').trim()
  }
}
