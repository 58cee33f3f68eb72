/**
 * Captures from a card itself through ALSA's own tool, bit by bit as its converter gives them.
 *
 * A card that has more inputs than the rig is opened with all that it wants; the first ones are taken.
 */
import type { SampleFormat } from '../wav/decode.js'
import { cardOf } from './alsa-devices.js'
import { checkMixer } from './alsa-mixer.js'
import { type AlsaAsk, alsaArgs, checkSaidRate, FORMATS_FOR, nextAsk, type WordFormat } from './alsa-stream.js'
import { checkServerPath } from './pulse-path.js'
import { StreamCapture } from './stream-capture.js'
import type { Stream } from './stream-flow.js'

export interface AlsaCaptureSpec {
  /** hw:CARD=NAME,DEV=0 or any other name that the tool takes. */
  readonly device: string
  readonly sampleRateHz: number
  readonly bits: 16 | 24 | 32
  readonly inputCount: number
}

/** The tool tells what was negotiated before its first sample; reading it may take a moment longer. */
const SAID_S = 0.5

export class AlsaCapture extends StreamCapture {
  constructor(spec: AlsaCaptureSpec) {
    const formats = FORMATS_FOR[spec.bits]
    let ask: AlsaAsk
    super({
      where: spec.device,
      async firstStream(signal) {
        const card = cardOf(spec.device)
        if (card !== null) await checkMixer(card, spec.device, signal)
        ask = { ...spec, format: formats[0], channelCount: spec.inputCount }
        return alsaStream(ask, spec.inputCount)
      },
      async nextStream(_stream, said, _ending, signal) {
        ask = await nextAsk('capture', ask, spec.inputCount, formats, said, signal)
        return alsaStream(ask, spec.inputCount)
      },
      async checkFlow(flow, _stream, signal) {
        await flow.heard(/^ +rate +: /, SAID_S)
        checkSaidRate('capture', ask, flow.said)
        if (flow.said.some((line) => line.includes('PulseAudio'))) await checkServerPath('source', flow.pid, signal)
      },
    })
  }
}

export const alsaStream = (ask: AlsaAsk, inputCount: number): Stream => ({
  command: 'arecord',
  args: alsaArgs(ask),
  where: ask.device,
  sampleRateHz: ask.sampleRateHz,
  inputCount,
  formatOf: () => ({ channelCount: ask.channelCount, ...WORDS[ask.format] }),
  ...(ask.format === 'S24_LE' && { unpack: raiseLowWords }),
  meaningOf: (line) =>
    /^overrun!!!/.test(line)
      ? 'overrun'
      : /(?:read error|prepare error|suspend)/.test(line) && !/Interrupted system call/.test(line)
        ? 'vanished'
        : null,
  endsWithZero: false,
})

const WORDS: Record<WordFormat, Pick<SampleFormat, 'bits' | 'encoding'>> = {
  S16_LE: { bits: 16, encoding: 'pcm' },
  S24_3LE: { bits: 24, encoding: 'pcm' },
  S24_LE: { bits: 32, encoding: 'pcm' },
  S32_LE: { bits: 32, encoding: 'pcm' },
  FLOAT_LE: { bits: 32, encoding: 'float' },
}

/** 24 bits in the low bytes of each word, as some cards give them, to its high bytes; the fourth byte means nothing. */
export function raiseLowWords(bytes: Uint8Array): void {
  for (let at = 0; at + 4 <= bytes.length; at += 4) {
    bytes[at + 3] = bytes[at + 2]
    bytes[at + 2] = bytes[at + 1]
    bytes[at + 1] = bytes[at]
    bytes[at] = 0
  }
}
