/**
 * The part of the rig file that is about sound: what captures, what plays, and which of them go together.
 *
 * Names are the file's, in snake case. Checks between the fields are made here, because here they know where they stand.
 */
import { z } from 'zod'
import { complain, textField } from '../document/fields.js'

export const SAMPLE_RATES_HZ = [44_100, 48_000, 88_200, 96_000, 176_400, 192_000] as const

/** Neighbours lie 8 % apart. */
const RATE_RATIO_MAX = 0.03

export const isNearRate = (rateHz: number, saidHz: number): boolean => Math.abs(rateHz / saidHz - 1) < RATE_RATIO_MAX

/** The usual rate that a measured one stands for; undefined where none is near. */
export const usualRateNear = (rateHz: number): number | undefined =>
  SAMPLE_RATES_HZ.find((candidate) => isNearRate(rateHz, candidate))

export const CAPTURE_DRIVERS = ['simulated', 'recording', 'pulse', 'alsa', 'ffmpeg'] as const
export const PLAYER_DRIVERS = ['simulated', 'none', 'stick', 'computer', 'alsa', 'ffmpeg'] as const
export const INPUT_FORMATS = ['avfoundation', 'dshow', 'pulse', 'alsa'] as const
export const OUTPUT_FORMATS = ['audiotoolbox', 'pulse', 'alsa'] as const

const deviceField = (kind: string) =>
  textField(200)
    .optional()
    .describe(`Name of the ${kind} as linetrue rig devices lists it; where there is a default, it may be left out`)

export const CaptureFields = z.strictObject({
  driver: z
    .enum(CAPTURE_DRIVERS)
    .describe(
      'What records the outputs: the simulated vehicle, a recording made elsewhere, the sound server (pulse), ' +
        'a card itself (alsa, bit-exact), ffmpeg (macOS, Windows)',
    ),
  device: deviceField('input'),
  input_format: z
    .enum(INPUT_FORMATS)
    .optional()
    .describe(
      'Driver ffmpeg: what it captures through; if left out, avfoundation on macOS, dshow on Windows, else pulse',
    ),
  sample_rate_hz: z.literal(SAMPLE_RATES_HZ).default(48_000).describe('Sample rate of the capture (Hz)'),
  bits: z.literal([16, 24, 32]).default(24).describe('Bits of each captured sample'),
})

export const PlayerFields = z.strictObject({
  driver: z
    .enum(PLAYER_DRIVERS)
    .describe(
      'What plays the track: the simulated vehicle, nothing (none, for recordings), a stick, disc or phone that a ' +
        "person starts (stick), the sound server's output (computer), a card itself (alsa), ffmpeg",
    ),
  device: deviceField('output'),
  output_format: z
    .enum(OUTPUT_FORMATS)
    .optional()
    .describe('Driver ffmpeg: what it plays through; if left out, audiotoolbox on macOS, else pulse'),
})

interface SoundFields {
  readonly capture: z.infer<typeof CaptureFields>
  readonly player: z.infer<typeof PlayerFields>
}
type Context = Parameters<typeof complain>[0]

const LIVE_PLAYERS = ['computer', 'alsa', 'ffmpeg', 'stick'] as const
const FITTING: Record<SoundFields['capture']['driver'], readonly string[]> = {
  simulated: ['simulated'],
  recording: ['none'],
  pulse: LIVE_PLAYERS,
  alsa: LIVE_PLAYERS,
  ffmpeg: LIVE_PLAYERS,
}
/** Drivers that take no device at all, and those that have no default one. */
const WITHOUT_DEVICE = ['simulated', 'recording', 'none', 'stick']
const WITHOUT_DEFAULT = ['alsa']

export function checkSound({ capture, player }: SoundFields, context: Context): void {
  const fitting = FITTING[capture.driver]
  if (!fitting.includes(player.driver)) {
    const isLive = fitting === LIVE_PLAYERS
    complain(
      context,
      ['player', 'driver'],
      `player driver ${player.driver} does not go with capture driver ${capture.driver}`,
      isLive && player.driver === 'none'
        ? 'Write driver: stick where a person starts the track; none is for recordings only.'
        : `Allowed with it: ${isLive ? 'computer, alsa, ffmpeg or stick' : fitting[0]}.`,
    )
  }
  checkRole('capture', capture.driver, capture.device, 'input_format', capture.input_format, context)
  checkRole('player', player.driver, player.device, 'output_format', player.output_format, context)
}

function checkRole(
  role: 'capture' | 'player',
  driver: string,
  device: string | undefined,
  formatField: string,
  format: string | undefined,
  context: Context,
): void {
  if (device !== undefined && WITHOUT_DEVICE.includes(driver)) {
    complain(context, [role, 'device'], `${role} driver ${driver} has no device`, 'Leave device out.')
  }
  if (device === undefined && WITHOUT_DEFAULT.includes(driver)) {
    complain(
      context,
      [role],
      `${role} driver ${driver} names no device`,
      'Add device: hw:CARD=NAME,DEV=0, as linetrue rig devices lists it.',
    )
  }
  if (format !== undefined && driver !== 'ffmpeg') {
    complain(
      context,
      [role, formatField],
      `${formatField} does not go with ${role} driver ${driver}`,
      `Leave ${formatField} out: it is for driver ffmpeg.`,
    )
  }
}
