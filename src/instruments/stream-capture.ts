/** Captures through a tool that gives raw samples: what the tool is and how it is asked is the driver's business. */
import type { Block, Capture, CaptureRun } from '../rig/roles.js'
import { silentInput } from './sound-stops.js'
import { FIRST_SAMPLES_S, type Stream, StreamFlow } from './stream-flow.js'
import { type Ending, missingTool } from './tool.js'

export interface StreamDriver {
  /** The device, for messages. */
  readonly where: string
  /** Looks at the device before it is opened, and says how to ask for its samples. */
  firstStream(signal: AbortSignal): Promise<Stream>
  /**
   * After a tool that ended before its first sample: another way to ask.
   * @throws StopError where there is none, saying why
   */
  nextStream(stream: Stream, said: readonly string[], ending: Ending, signal: AbortSignal): Promise<Stream>
  /** Looks at the stream that flows. @throws StopError when it isn't what was asked for */
  checkFlow(flow: StreamFlow, stream: Stream, signal: AbortSignal): Promise<void>
}

export class StreamCapture implements Capture {
  readonly where: string

  constructor(private readonly driver: StreamDriver) {
    this.where = driver.where
  }

  async start(onBlock: (block: Block) => void, signal: AbortSignal): Promise<CaptureRun> {
    signal.throwIfAborted()
    let stream = await this.driver.firstStream(signal)
    for (;;) {
      signal.throwIfAborted()
      const flow = new StreamFlow(stream, onBlock, signal)
      try {
        const first = await flow.first
        if (first === 'late') throw silentInput(stream.where, FIRST_SAMPLES_S)
        if (first === 'flowing') {
          await this.driver.checkFlow(flow, stream, signal)
          const { sampleRateHz, inputCount } = stream
          return { sampleRateHz, inputCount, failed: flow.failed, stop: () => flow.stop() }
        }
        if (first.isMissing) throw missingTool(stream.command, stream.where)
        stream = await this.driver.nextStream(stream, flow.said, first, signal)
      } catch (error) {
        await flow.stop()
        throw error
      }
    }
  }
}
