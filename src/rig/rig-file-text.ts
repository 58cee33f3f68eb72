/** The text of a rig file from a few answers, with the comments that a technician needs to change it later. */
import { stringify } from 'yaml'
import type { CaptureSpec, PlayerSpec } from './rig.js'

export interface RigAnswers {
  readonly name: string
  readonly capture: Pick<CaptureSpec, 'driver' | 'device' | 'sampleRateHz'>
  readonly player: Pick<PlayerSpec, 'driver' | 'device'>
  readonly meter: {
    readonly driver: 'simulated' | 'scpi' | 'lines' | 'frames'
    readonly port: string | null
    readonly baudRate: number | null
    readonly frame: 'segments' | 'characters' | null
    readonly inputNumber: number
    readonly accuracyPct: number
    readonly accuracyVrms: number
  } | null
  readonly inputCount: number
  /** null: not known, so that a wide guess stands in. */
  readonly fullScaleVrms: number | null
  readonly padDb: number
  readonly levelUncertaintyDb: number
}

/** Most line inputs lie within this many decibels of it. */
const GUESSED_FULL_SCALE_VRMS = 2
const GUESS_U_DB = 6

/** @returns text that the rig file's own schema accepts, where the answers are within its limits */
export function rigFileText(answers: RigAnswers): string {
  const { name, capture, player, meter, inputCount, padDb } = answers
  const isKnown = answers.fullScaleVrms !== null
  const fullScaleVrms = answers.fullScaleVrms ?? GUESSED_FULL_SCALE_VRMS
  const u = isKnown ? answers.levelUncertaintyDb : GUESS_U_DB
  const lines = [
    '# A rig: what is wired. What each field may hold: linetrue schema rig; names of devices: linetrue rig devices.',
    '# Check it before a job: linetrue rig check FILE. Amplifiers stay unplugged or their gains down.',
    `name: ${scalar(name)}`,
    '',
    'capture:',
    `  driver: ${capture.driver} # ${CAPTURE_WORDS[capture.driver]}`,
    ...(capture.device === null ? [] : [`  device: ${scalar(capture.device)}`]),
    `  sample_rate_hz: ${capture.sampleRateHz} # a rate that the card runs at by itself, so that nothing resamples`,
    '  bits: 24 # of each captured sample; 16 where the card has no more',
    '',
    'player:',
    `  driver: ${player.driver} # ${PLAYER_WORDS[player.driver]}`,
    ...(player.device === null ? [] : [`  device: ${scalar(player.device)}`]),
    '',
    ...(meter === null ? NO_METER : meterLines(meter)),
    '',
    '# All inputs alike; where they differ, write a list with an entry for each instead.',
    'inputs:',
    `  count: ${inputCount} # with fewer than the job's outputs, the run asks you to move the leads`,
    isKnown
      ? `  full_scale_vrms: ${fullScaleVrms} # rms volts of the sine that just reaches full scale, at the input gain of its data sheet`
      : `  full_scale_vrms: ${fullScaleVrms} # CHANGE: a guess; from the card's data sheet, or by linetrue rig calibrate`,
    `  pad_db: ${padDb} # attenuation of the pads between leads and card; 0 for none`,
    isKnown
      ? `  level_uncertainty_db: ${u} # how far the two values above may be off together; linetrue rig calibrate measures them`
      : `  level_uncertainty_db: ${u} # CHANGE: 0.5 is usual once full_scale_vrms is known`,
  ]
  return `${lines.join('\n')}\n`
}

const CAPTURE_WORDS: Readonly<Record<CaptureSpec['driver'], string>> = {
  simulated: 'a model of a card, no hardware',
  recording: 'files made elsewhere',
  pulse: 'through the sound server: its volume stays at 100 %',
  alsa: 'by its ALSA name; hw:… is the card itself, with no sound server between',
  ffmpeg: "through ffmpeg and the system's own sound",
}

const PLAYER_WORDS: Readonly<Record<PlayerSpec['driver'], string>> = {
  simulated: 'the model plays by itself',
  none: 'nothing is played',
  stick: 'a person starts the track from a stick, disc or phone; linetrue track writes it',
  computer: "the computer's own output, by cable or wireless link into the head unit",
  alsa: 'an output by its hardware name, into the head unit',
  ffmpeg: "the computer's output through ffmpeg, into the head unit",
}

const METER_WORDS = {
  simulated: 'a model of a meter',
  scpi: 'a bench meter that answers *IDN?',
  lines: 'prints its readings as lines; patterns may say how to read them',
  frames: 'sends frames of 14 bytes, as common handheld-meter chips do',
} as const

const NO_METER = [
  '# No meter. To have one check the volts, add its lines:',
  '# meter: { driver: scpi, port: /dev/ttyUSB0, baud_rate: 9600, across_input: 1, accuracy_pct: 1, accuracy_vrms: 0.005 }',
]

function meterLines(meter: NonNullable<RigAnswers['meter']>): string[] {
  return [
    'meter:',
    `  driver: ${meter.driver} # ${METER_WORDS[meter.driver]}`,
    ...(meter.port === null ? [] : [`  port: ${scalar(meter.port)}`]),
    ...(meter.baudRate === null ? [] : [`  baud_rate: ${meter.baudRate} # as set in the meter's own menu`]),
    ...(meter.frame === null ? [] : [`  frame: ${meter.frame} # segments of the display, or characters and flags`]),
    `  across_input: ${meter.inputNumber} # the input whose lead the meter's probes are on`,
    `  accuracy_pct: ${meter.accuracyPct} # from its data sheet for AC volts at 1 kHz: part of the reading`,
    `  accuracy_vrms: ${meter.accuracyVrms} # fixed part: counts times resolution, 5 counts of 1 mV are 0.005`,
  ]
}

/** Quoted only where YAML needs it. */
const scalar = (text: string): string => stringify(text, { lineWidth: 0 }).trimEnd()
