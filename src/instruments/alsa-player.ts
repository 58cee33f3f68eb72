/** Plays on a card itself, or any other device of ALSA's, through ALSA's own tool. */
import { type AlsaAsk, alsaArgs, checkSaidRate, nextAsk, type WordFormat } from './alsa-stream.js'
import { framesOf, lowWords, words32 } from './play-words.js'
import { checkServerPath } from './pulse-path.js'
import { type PlayStream, ranDry, ToolPlayer } from './tool-player.js'

/** The widest first: nothing is lost in a wider word. */
const FORMATS: readonly WordFormat[] = ['S32_LE', 'S24_3LE', 'S24_LE', 'S16_LE', 'FLOAT_LE']

export class AlsaPlayer extends ToolPlayer {
  /** @param device hw:CARD=NAME,DEV=0 or any other name that the tool takes */
  constructor(device: string) {
    let ask: AlsaAsk
    let channelCount = 2
    super({
      where: device,
      async firstStream(audio) {
        channelCount = audio.channels.length
        ask = { device, sampleRateHz: audio.sampleRateHz, format: FORMATS[0], channelCount }
        return alsaPlayStream(ask)
      },
      async nextStream(_stream, said, _ending, signal) {
        ask = await nextAsk('player', ask, channelCount, FORMATS, said, signal)
        return alsaPlayStream(ask)
      },
      async checkFlow(pid, said, signal) {
        checkSaidRate('player', ask, said)
        if (said.some((line) => line.includes('PulseAudio'))) return await checkServerPath('sink', pid, signal)
        return said.some((line) => /^ +rate +: /.test(line))
      },
    })
  }
}

export const alsaPlayStream = (ask: AlsaAsk): PlayStream => ({
  command: 'aplay',
  args: alsaArgs(ask),
  where: ask.device,
  encode: (channels) => ENCODERS[ask.format](channels, ask.channelCount),
  stopFrom: (line) => (/^underrun!!!/.test(line) ? ranDry(ask.device) : null),
})

const ENCODERS: Record<WordFormat, (channels: readonly Float32Array[], channelCount: number) => Uint8Array> = {
  S32_LE: words32,
  S24_LE: lowWords,
  S24_3LE: (channels, channelCount) => framesOf(channels, 24, channelCount),
  S16_LE: (channels, channelCount) => framesOf(channels, 16, channelCount),
  FLOAT_LE: (channels, channelCount) => framesOf(channels, 32, channelCount),
}
