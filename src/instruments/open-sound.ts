/** The capture and the player that a rig names, for a live bench. */
import type { Rig } from '../rig/rig.js'
import type { Capture, Player } from '../rig/roles.js'
import { StopError } from '../units/stop.js'
import { AlsaCapture } from './alsa-capture.js'
import { AlsaPlayer } from './alsa-player.js'
import { ComputerPlayer } from './computer-player.js'
import { FfmpegCapture, usualInputFormat } from './ffmpeg-capture.js'
import { FfmpegPlayer, usualOutputFormat } from './ffmpeg-player.js'
import { handPlayer } from './hand-player.js'
import { PulseCapture } from './pulse-capture.js'

/** Nothing is opened before the first take. @throws StopError when the rig's capture isn't a live one */
export function openCapture({ name, capture, inputs }: Rig, system: NodeJS.Platform = process.platform): Capture {
  const { driver, device, sampleRateHz, bits, inputFormat } = capture
  const inputCount = inputs.length
  switch (driver) {
    case 'pulse':
      return new PulseCapture({ device, sampleRateHz, inputCount })
    case 'alsa':
      if (device === null) throw new RangeError('openCapture: driver alsa without a device')
      return new AlsaCapture({ device, sampleRateHz, bits, inputCount })
    case 'ffmpeg':
      if (inputFormat) checkSystem(name, 'capture.input_format', inputFormat, system)
      return new FfmpegCapture({
        device,
        inputFormat: inputFormat ?? usualInputFormat(),
        sampleRateHz,
        bits,
        inputCount,
      })
    default:
      throw notLive(name, 'capture', driver)
  }
}

/**
 * @param ask shows the person what to do; resolves when it is done
 * @throws StopError when the rig's player isn't a live one
 */
export function openPlayer(
  { name, player }: Rig,
  ask: (prompt: string, signal: AbortSignal) => Promise<void>,
  system: NodeJS.Platform = process.platform,
): Player {
  const { driver, device, outputFormat } = player
  switch (driver) {
    case 'computer':
      return new ComputerPlayer(device)
    case 'alsa':
      if (device === null) throw new RangeError('openPlayer: driver alsa without a device')
      return new AlsaPlayer(device)
    case 'ffmpeg':
      if (outputFormat) checkSystem(name, 'player.output_format', outputFormat, system)
      return new FfmpegPlayer({ device, outputFormat: outputFormat ?? usualOutputFormat() })
    case 'stick':
      return handPlayer(ask)
    case 'none':
      throw new StopError(
        'player.driver is "none", which is for recordings only',
        name,
        'Write driver: stick where a person starts the track.',
      )
    default:
      throw notLive(name, 'player', driver)
  }
}

/** Where ffmpeg's own formats are at home; the others are found wherever a sound server or ALSA runs. */
const HOMES: Readonly<Record<string, readonly [system: NodeJS.Platform, says: string]>> = {
  avfoundation: ['darwin', 'macOS'],
  audiotoolbox: ['darwin', 'macOS'],
  dshow: ['win32', 'Windows'],
}

/** @throws StopError where the rig file is for another system */
function checkSystem(rigName: string, field: string, format: string, system: NodeJS.Platform): void {
  const [home, says] = HOMES[format] ?? [system, '']
  if (home === system) return
  const remedy = 'Take a rig file of this system from rigs/, or make one: linetrue rig new FILE.'
  throw new StopError(`${field} is ${format}, which only ${says} has; this computer has not`, rigName, remedy)
}

export const notLive = (rigName: string, role: string, driver: string): StopError =>
  new StopError(
    `${role}.driver is "${driver}", which cannot be mixed with live instruments`,
    rigName,
    'Use live drivers for all roles (capture: pulse, alsa or ffmpeg; player: computer, alsa, ffmpeg or stick; meter: scpi, lines or frames), or simulated ones for all.',
  )
