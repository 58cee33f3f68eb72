/**
 * Captures from a source of the sound server (PulseAudio, or PipeWire in its place) through its own tool.
 *
 * Samples travel as 32-bit floats, which hold every 24-bit sample exactly. Channels are taken by their place, never by
 * their name: a server that remixes by name would fold or drop some of a card's inputs.
 */
import { checkRate, findDevice } from './pulse-devices.js'
import { StreamCapture, type StreamDriver } from './stream-capture.js'
import type { Stream } from './stream-flow.js'
import { failedTool, movedTo } from './tool.js'

export interface PulseCaptureSpec {
  /** Source name; null: the server's default. */
  readonly device: string | null
  readonly sampleRateHz: number
  readonly inputCount: number
}

const LATENCY_MS = 50

export class PulseCapture extends StreamCapture {
  constructor(spec: PulseCaptureSpec) {
    super(driverOf(spec))
  }
}

const driverOf = (spec: PulseCaptureSpec): StreamDriver => ({
  where: spec.device ?? 'the default input',
  async firstStream(signal) {
    const { name } = await findDevice('source', spec.device, spec.inputCount, signal)
    return pulseStream(name, spec.sampleRateHz, spec.inputCount)
  },
  async nextStream({ command, where }, _said, ending) {
    throw failedTool(command, ending.says, where)
  },
  async checkFlow(_flow, { where }, signal) {
    const { sampleRateHz } = spec
    const remedy = `Set its rate in the sound server (default-sample-rate = ${sampleRateHz}), or capture.sample_rate_hz in the rig file.`
    await checkRate('source', where, sampleRateHz, remedy, signal)
  },
})

export function pulseStream(source: string, sampleRateHz: number, inputCount: number): Stream {
  return {
    command: 'parec',
    args: [
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
    ],
    where: source,
    sampleRateHz,
    inputCount,
    formatOf: () => ({ channelCount: inputCount, bits: 32, encoding: 'float' }),
    meaningOf: (line) =>
      movedTo(line, source) !== null ? 'vanished' : line.includes('Stream overrun') ? 'overrun' : null,
    endsWithZero: true,
  }
}
