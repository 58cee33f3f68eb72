/**
 * One running stream of raw samples from a tool: whole frames handed on, and everything that can go wrong noticed.
 *
 * A fault that shows while the stream still runs is told at once (`failed`) and again when it is stopped.
 */
import type { Block, CaptureFault } from '../rig/roles.js'
import { decodeFrames, frameByteCountOf, type SampleFormat } from '../wav/decode.js'
import { FlowWatch } from './flow-watch.js'
import { type Ending, startTool, stopTool, type Tool } from './tool.js'

/** How a tool is asked for samples, and how what it says is understood. */
export interface Stream {
  readonly command: string
  readonly args: readonly string[]
  /** The device, for messages. */
  readonly where: string
  readonly sampleRateHz: number
  /** The first channels of the tool's, handed on. */
  readonly inputCount: number
  /** What the tool gives, by what it has said so far; null: not said yet, samples wait. */
  formatOf(said: readonly string[]): SampleFormat | null
  /** Turns the tool's words into those of the format, in place. */
  readonly unpack?: (bytes: Uint8Array) => void
  /** What a line tells of the stream that runs; null: nothing. */
  meaningOf(line: string): 'overrun' | 'vanished' | null
  /** Whether the tool's exit status tells a failure from an end that it was asked for. */
  readonly endsWithZero: boolean
}

/** How long samples may take to come after the stream was asked for. */
export const FIRST_SAMPLES_S = 5
/** No samples for so long: they will not come any more. */
const STALL_MS = 3000
/** What has arrived but was not read yet, on a busy computer, is read within this time. */
const STALL_GRACE_MS = 250
/** An input that is connected to anything but its own silence gives noise within this time. */
const SILENT_S_MIN = 2
/** A device that goes away may be called an overrun first; what comes after tells. */
const OVERRUN_DOUBT_MS = 100
const LINE_COUNT_MAX = 400

export class StreamFlow {
  /** 'flowing' once samples came, 'late' when none did in time, else how the tool ended; rejects with the signal's reason. */
  readonly first: Promise<'flowing' | 'late' | Ending>
  readonly failed: Promise<CaptureFault>
  /** What the tool said, line by line. */
  readonly said: string[] = []
  readonly pid: number | undefined
  private readonly tool: Tool
  private readonly ended: Promise<Ending>
  private readonly watch: FlowWatch
  private readonly faults: CaptureFault[] = []
  private tellFailed: (fault: CaptureFault) => void = () => {}
  private stallTimer: NodeJS.Timeout | undefined
  private overrunTimer: NodeJS.Timeout | undefined
  private overrunAtS: number | null = null
  private isWanted = true
  /** Samples that still come are not wanted any more. */
  private isOver = false
  private hasSound = false
  private frameCount = 0
  private rest: Buffer = Buffer.alloc(0)
  private onFirst = (): void => {}

  constructor(
    private readonly stream: Stream,
    private readonly onBlock: (block: Block) => void,
    private readonly signal: AbortSignal,
  ) {
    this.watch = new FlowWatch(stream.sampleRateHz)
    this.failed = new Promise((resolve) => {
      this.tellFailed = resolve
    })
    const { tool, ended } = startTool(stream.command, stream.args, (line) => this.hear(line))
    this.tool = tool
    this.ended = ended
    this.pid = tool.pid
    const onAbort = (): void => {
      this.isOver = true
      this.letGo()
      void stopTool(tool, ended)
    }
    signal.addEventListener('abort', onAbort, { once: true })
    void ended.then((ending) => {
      signal.removeEventListener('abort', onAbort)
      this.hearEnd(ending)
    })
    this.first = new Promise((resolve, reject) => {
      const timer = setTimeout(() => resolve('late'), 1000 * FIRST_SAMPLES_S)
      this.onFirst = () => {
        clearTimeout(timer)
        resolve('flowing')
      }
      tool.stdout.on('data', (bytes: Buffer) => this.take(bytes))
      void ended.then((ending) => {
        clearTimeout(timer)
        if (signal.aborted) reject(signal.reason)
        else resolve(ending)
      })
    })
    if (signal.aborted) onAbort()
  }

  async stop(): Promise<readonly CaptureFault[]> {
    this.letGo()
    await stopTool(this.tool, this.ended)
    this.sayOverrun()
    const lost = this.watch.fault()
    // The watch knows how much was lost, the tool's line only that something was.
    const others = lost === null ? this.faults : this.faults.filter(({ kind }) => kind !== lost.kind)
    const isSilent = !this.hasSound && this.atS >= SILENT_S_MIN && !this.signal.aborted
    return [...(lost === null ? [] : [lost]), ...others, ...(isSilent ? [this.silentFault()] : [])]
  }

  /** Waits until the tool has said something of this form, for a short while. */
  async heard(words: RegExp, waitS: number): Promise<boolean> {
    const endMs = performance.now() + 1000 * waitS
    while (!this.said.some((line) => words.test(line))) {
      if (performance.now() > endMs) return false
      await new Promise((resolve) => setTimeout(resolve, 10))
    }
    return true
  }

  private letGo(): void {
    this.isWanted = false
    clearTimeout(this.stallTimer)
  }

  /** Hands on whole frames; what is left of a frame waits for its other half. */
  private take(bytes: Buffer): void {
    const { stream } = this
    const all = this.rest.length === 0 ? bytes : Buffer.concat([this.rest, bytes])
    const format = stream.formatOf(this.said)
    const frameByteCount = format === null ? Number.POSITIVE_INFINITY : frameByteCountOf(format)
    const frameCount = Math.floor(all.length / frameByteCount)
    this.rest = format === null ? all : all.subarray(frameCount * frameByteCount)
    if (format === null || frameCount === 0 || this.isOver) return
    const whole = all.subarray(0, frameCount * frameByteCount)
    stream.unpack?.(whole)
    this.hasSound ||= whole.some((byte) => byte !== 0)
    this.watch.arrived(frameCount, performance.now() / 1000)
    if (this.frameCount === 0) this.onFirst()
    this.frameCount += frameCount
    this.onBlock(decodeFrames(whole, format).slice(0, stream.inputCount))
    this.awaitMore()
    const rate = this.watch.rateFault()
    if (rate !== null) this.tellFailed(rate)
  }

  private awaitMore(): void {
    if (!this.isWanted) return
    if (this.stallTimer !== undefined) {
      this.stallTimer.refresh()
      return
    }
    this.stallTimer = setTimeout(() => {
      const before = this.frameCount
      setTimeout(() => {
        if (this.isWanted && this.frameCount === before) this.spoil('short', 'no samples came any more')
      }, STALL_GRACE_MS)
    }, STALL_MS)
  }

  private hear(line: string): void {
    if (this.said.length < LINE_COUNT_MAX) this.said.push(line)
    // Samples may come before the line that tells their form.
    if (this.frameCount === 0 && this.rest.length > 0) this.take(Buffer.alloc(0))
    const meaning = this.isOver ? null : this.stream.meaningOf(line)
    if (meaning === 'overrun' && this.frameCount > 0 && this.overrunAtS === null) {
      this.overrunAtS = this.atS
      this.overrunTimer = setTimeout(() => this.sayOverrun(), OVERRUN_DOUBT_MS)
    }
    if (meaning === 'vanished' && this.frameCount > 0 && this.isWanted) {
      this.isOver = true
      this.spoil('vanished', '')
      void stopTool(this.tool, this.ended)
    }
  }

  private hearEnd(ending: Ending): void {
    clearTimeout(this.stallTimer)
    if (this.frameCount === 0 || this.signal.aborted) return
    // Asked to end it may also have failed just before it was asked.
    const hasFailed = this.stream.endsWithZero && ending.code !== null && ending.code !== 0
    if (!this.isWanted && !hasFailed) return
    if (this.isWanted && ending.code === 0) this.spoil('short', 'the stream ended by itself')
    else this.spoil('vanished', ending.says)
  }

  private get atS(): number {
    return this.frameCount / this.stream.sampleRateHz
  }

  /** Once: of several overruns the first is told. */
  private sayOverrun(): void {
    clearTimeout(this.overrunTimer)
    const atS = this.overrunAtS
    if (atS === null || this.faults.some(({ kind }) => kind === 'overrun')) return
    this.add({ kind: 'overrun', says: `samples were lost near ${atS.toFixed(1)} s: close other programs`, atS })
  }

  /** The stream is over, by itself. */
  private spoil(kind: 'short' | 'vanished', why: string): void {
    const { atS, stream } = this
    if (this.faults.some((fault) => fault.kind !== 'overrun')) return
    if (this.overrunAtS !== null && atS - this.overrunAtS < OVERRUN_DOUBT_MS / 1000) this.overrunAtS = null
    const after = `after ${atS.toFixed(1)} s`
    const says =
      kind === 'short'
        ? `${why} ${after} from ${stream.where}: check the card and its cable`
        : `${stream.where} went away ${after}${why === '' ? '' : ` (${why})`}`
    this.add({ kind, says, atS })
  }

  private add(fault: CaptureFault): void {
    this.faults.push(fault)
    this.tellFailed(fault)
  }

  private silentFault(): CaptureFault {
    const { where } = this.stream
    const says =
      `nothing but zeros came from ${where}: an input that listens gives at least noise, so it is muted, switched ` +
      'off or not permitted'
    return { kind: 'silent', says, atS: null }
  }
}
