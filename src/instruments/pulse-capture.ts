/**
 * Captures from a source of the sound server (PulseAudio, or PipeWire in its place) through its own tool.
 *
 * Samples travel as 32-bit floats, which hold every 24-bit sample exactly. Channels are taken by their place, never by
 * their name: a server that remixes by name would fold or drop some of a card's inputs.
 */
import type { Block, Capture, CaptureFault, CaptureRun } from '../rig/roles.js'
import { StopError } from '../units/stop.js'
import { decodeFrames, frameByteCountOf, type SampleFormat } from '../wav/decode.js'
import { FlowWatch } from './flow-watch.js'
import { checkRate, findDevice } from './pulse-devices.js'
import { type Ending, failedTool, missingTool, movedTo, startTool, stopTool, type Tool } from './tool.js'

export interface PulseCaptureSpec {
  /** Source name; null: the server's default. */
  readonly device: string | null
  readonly sampleRateHz: number
  readonly inputCount: number
}

/** How long samples may take to come after the stream was asked for. */
const FIRST_SAMPLES_MS = 5000
const LATENCY_MS = 50

export class PulseCapture implements Capture {
  readonly where: string

  constructor(private readonly spec: PulseCaptureSpec) {
    this.where = spec.device ?? 'the default input'
  }

  async start(onBlock: (block: Block) => void, signal: AbortSignal): Promise<CaptureRun> {
    const { sampleRateHz, inputCount } = this.spec
    const device = await findDevice('source', this.spec.device, inputCount, signal)
    const flow = new Flow(device.name, sampleRateHz, inputCount, onBlock, signal)
    try {
      await flow.firstSamples
      const remedy = `Set its rate in the sound server (default-sample-rate = ${sampleRateHz}), or capture.sample_rate_hz in the rig file.`
      await checkRate('source', device.name, sampleRateHz, remedy, signal)
    } catch (error) {
      await flow.stop()
      throw error
    }
    return { sampleRateHz, inputCount, stop: () => flow.stop() }
  }
}

/** One running stream. */
class Flow {
  readonly firstSamples: Promise<void>
  private readonly tool: Tool
  private readonly ended: Promise<Ending>
  private readonly format: SampleFormat
  private readonly watch: FlowWatch
  private isWanted = true
  /** Samples that still come are not wanted any more. */
  private isOver = false
  private frameCount = 0
  private vanished: CaptureFault | null = null
  private overrun: CaptureFault | null = null
  private rest: Buffer = Buffer.alloc(0)

  constructor(
    private readonly source: string,
    private readonly sampleRateHz: number,
    inputCount: number,
    private readonly onBlock: (block: Block) => void,
    signal: AbortSignal,
  ) {
    this.format = { channelCount: inputCount, bits: 32, encoding: 'float' }
    this.watch = new FlowWatch(sampleRateHz)
    const args = [
      '--verbose',
      '--raw',
      `--device=${source}`,
      '--format=float32le',
      `--rate=${sampleRateHz}`,
      `--channels=${inputCount}`,
      `--channel-map=${Array.from({ length: inputCount }, (_, c) => `aux${c}`).join(',')}`,
      '--no-remix',
      '--no-remap',
      `--latency-msec=${LATENCY_MS}`,
      '--client-name=linetrue',
      '--stream-name=capture',
    ]
    const { tool, ended } = startTool('parec', args, (line) => this.hear(line))
    this.tool = tool
    this.ended = ended
    const onAbort = (): void => {
      this.isWanted = false
      this.isOver = true
      void stopTool(tool, ended)
    }
    signal.addEventListener('abort', onAbort, { once: true })
    void ended.then((ending) => {
      signal.removeEventListener('abort', onAbort)
      // Asked to end it ends with 0; it may also have failed just before it was asked.
      const hasFailed = ending.code !== null && ending.code !== 0 && !signal.aborted
      if (this.isWanted || hasFailed) this.vanished ??= this.vanishedFault(ending.says)
    })
    this.firstSamples = new Promise<void>((resolve, reject) => {
      const timer = setTimeout(() => reject(silentInput(source)), FIRST_SAMPLES_MS)
      tool.stdout.on('data', (bytes: Buffer) => {
        clearTimeout(timer)
        this.take(bytes)
        resolve()
      })
      void ended.then((ending) => {
        clearTimeout(timer)
        if (signal.aborted) reject(signal.reason)
        else reject(ending.isMissing ? missingTool('parec', source) : failedTool('parec', ending.says, source))
      })
    })
    if (signal.aborted) onAbort()
  }

  async stop(): Promise<readonly CaptureFault[]> {
    this.isWanted = false
    await stopTool(this.tool, this.ended)
    return [this.watch.fault() ?? this.overrun, this.vanished].filter((fault) => fault !== null)
  }

  /** Hands on whole frames; what is left of a frame waits for its other half. */
  private take(bytes: Buffer): void {
    const all = this.rest.length === 0 ? bytes : Buffer.concat([this.rest, bytes])
    const frameByteCount = frameByteCountOf(this.format)
    const frameCount = Math.floor(all.length / frameByteCount)
    this.rest = all.subarray(frameCount * frameByteCount)
    if (frameCount === 0 || this.isOver) return
    this.watch.arrived(frameCount, performance.now() / 1000)
    this.frameCount += frameCount
    this.onBlock(decodeFrames(all.subarray(0, frameCount * frameByteCount), this.format))
  }

  /** What the tool says while it runs. */
  private hear(line: string): void {
    const atS = this.frameCount / this.sampleRateHz
    if (movedTo(line, this.source) !== null && !this.isOver) {
      this.isOver = true
      this.vanished = this.vanishedFault('')
      void stopTool(this.tool, this.ended)
    }
    if (line.includes('Stream overrun')) {
      this.overrun ??= {
        kind: 'overrun',
        says: `samples were lost near ${atS.toFixed(1)} s: close other programs`,
        atS,
      }
    }
  }

  private vanishedFault(says: string): CaptureFault {
    const atS = this.frameCount / this.sampleRateHz
    const why = says === '' ? '' : ` (${says})`
    return { kind: 'vanished', says: `${this.source} went away after ${atS.toFixed(1)} s${why}`, atS }
  }
}

const silentInput = (source: string): StopError =>
  new StopError(
    `no samples came within ${FIRST_SAMPLES_MS / 1000} s`,
    source,
    'Check that no other program holds the card, then start the sound server anew.',
    'instrument',
  )
