/**
 * How ALSA's own tools are asked for a device as it is: no conversion of rate, channels, format or volume on the way.
 *
 * Shared by capture (arecord) and player (aplay). The device says what it can do when it is opened; where it refuses what
 * was asked for first, that tells what to ask for next.
 */
import { StopError } from '../units/stop.js'
import { type HwParams, isDenied, listAlsa, parseHwParams } from './alsa-devices.js'
import {
  deniedDevice,
  noSuchDevice,
  otherRate,
  otherTrouble,
  type Role,
  stopFor,
  tooFewChannels,
  troubleIn,
} from './sound-stops.js'

export const WORD_FORMATS = ['S32_LE', 'S24_3LE', 'S24_LE', 'S16_LE', 'FLOAT_LE'] as const
export type WordFormat = (typeof WORD_FORMATS)[number]

/** Formats that hold samples of so many bits, the widest first: nothing is lost in a wider word. */
export const FORMATS_FOR: Record<16 | 24 | 32, readonly WordFormat[]> = {
  16: ['S16_LE', 'S32_LE', 'S24_3LE', 'S24_LE', 'FLOAT_LE'],
  24: ['S32_LE', 'S24_3LE', 'S24_LE', 'FLOAT_LE'],
  32: ['S32_LE', 'FLOAT_LE'],
}

export interface AlsaAsk {
  readonly device: string
  readonly sampleRateHz: number
  readonly format: WordFormat
  readonly channelCount: number
}

/** Enough for a computer that is busy for a while. */
const BUFFER_US = 1_000_000
const PERIOD_US = 50_000

export const alsaArgs = ({ device, sampleRateHz, format, channelCount }: AlsaAsk): string[] => [
  `--device=${device}`,
  '--file-type=raw',
  `--format=${format}`,
  `--rate=${sampleRateHz}`,
  `--channels=${channelCount}`,
  `--buffer-time=${BUFFER_US}`,
  `--period-time=${PERIOD_US}`,
  '--disable-resample',
  '--disable-channels',
  '--disable-format',
  '--disable-softvol',
  '--dump-hw-params',
  '--verbose',
]

/**
 * What to ask for after a refusal.
 *
 * @param channelCount that are needed
 * @throws StopError where the device can't do it, or something else is wrong
 */
export async function nextAsk(
  role: Role,
  ask: AlsaAsk,
  channelCount: number,
  formats: readonly WordFormat[],
  said: readonly string[],
  signal: AbortSignal,
): Promise<AlsaAsk> {
  const where = ask.device
  const text = said.join('\n')
  const can = parseHwParams(said)
  const next = can && askThatFits(role, ask, channelCount, formats, can)
  if (next && (next.format !== ask.format || next.channelCount !== ask.channelCount)) return next
  const tool = role === 'capture' ? 'arecord' : 'aplay'
  const complaint = said.findLast((line) => line.startsWith(`${tool}:`)) ?? said.at(-1) ?? ''
  const trouble = troubleIn(complaint) ?? troubleIn(text)
  const plain = stopFor(trouble, role, where, lastWords(complaint))
  if (plain !== null) throw plain
  if (trouble !== 'missing') throw otherTrouble(tool, where, lastWords(complaint))
  if (isDenied()) throw deniedDevice(role, where)
  throw noSuchDevice(
    role,
    where,
    (await listAlsa(tool, signal)).map(({ name }) => name),
  )
}

function askThatFits(
  role: Role,
  ask: AlsaAsk,
  channelCount: number,
  formats: readonly WordFormat[],
  { formats: has, channels, rates }: HwParams,
): AlsaAsk {
  const { device, sampleRateHz } = ask
  const key = role === 'capture' ? 'capture.sample_rate_hz in the rig file' : 'track.sample_rate_hz in the job file'
  if (rates && (sampleRateHz < rates.min || sampleRateHz > rates.max)) {
    const span = rates.min === rates.max ? `${rates.min}` : `a rate from ${rates.min} to ${rates.max}`
    throw otherRate(device, sampleRateHz, sampleRateHz < rates.min ? rates.min : rates.max, `Set ${key} to ${span}.`)
  }
  if (channels && channels.max < channelCount) throw tooFewChannels(role, device, channels.max, channelCount)
  const format = formats.find((candidate) => has.includes(candidate))
  if (format === undefined) {
    throw new StopError(
      `the card gives none of the sample formats that are needed, only ${has.join(', ')}`,
      device,
      role === 'capture' && has.includes('S16_LE')
        ? 'Set capture.bits in the rig file to 16.'
        : 'Name another device, or the sound server (driver pulse).',
      'instrument',
    )
  }
  return { ...ask, format, channelCount: Math.max(channelCount, channels?.min ?? 0) }
}

/** @throws StopError when the device took another rate than it was asked for, and told so */
export function checkSaidRate(role: Role, ask: AlsaAsk, said: readonly string[]): void {
  const text = said.join('\n')
  const got = /rate is not accurate \(requested = \d+Hz, got = (\d+)Hz\)/.exec(text) ?? /^ +rate +: (\d+)/m.exec(text)
  const gotHz = Number(got?.[1] ?? ask.sampleRateHz)
  if (gotHz === ask.sampleRateHz) return
  const remedy =
    role === 'capture'
      ? `Set capture.sample_rate_hz in the rig file to ${gotHz}, or the card to ${ask.sampleRateHz} Hz.`
      : `Set track.sample_rate_hz in the job file to ${gotHz}, or the card to ${ask.sampleRateHz} Hz.`
  throw otherRate(ask.device, ask.sampleRateHz, gotHz, remedy)
}

/** The end of "arecord: main:831: audio open error: No such device". */
const lastWords = (complaint: string): string => complaint.replace(/^\w+: \w+:\d+: /, '').trim()
