/** What the answers about a rig stand for, as the text of a rig file needs it. */
import type { MeterDriver } from '../rig/meter-spec.js'
import type { RigAnswers } from '../rig/rig-file-text.js'
import type { Answers } from './questions.js'

export const SIMULATED_CARD = 'simulated'
export const WITHOUT_METER = 'none'
/** Full scale that nobody knows yet. */
export const UNKNOWN = 'unknown'

/** The answers as what they stand for. */
export function rigAnswersOf(answers: Answers): RigAnswers {
  const text = (name: string): string => answers.get(name)!
  const numberOf = (name: string): number => Number(text(name))
  const capture = driverAndDevice(text('capture'))
  const isSimulated = capture.driver === SIMULATED_CARD
  const player = isSimulated ? { driver: 'simulated', device: null } : driverAndDevice(text('player'))
  const meter = text('meter')
  return {
    name: text('name'),
    capture: {
      driver: capture.driver as RigAnswers['capture']['driver'],
      device: capture.device,
      sampleRateHz: numberOf('sample_rate_hz'),
    },
    player: {
      // The sound server's outputs are the computer's own.
      driver: (player.driver === 'pulse' ? 'computer' : player.driver) as RigAnswers['player']['driver'],
      device: player.device,
    },
    meter:
      meter === WITHOUT_METER
        ? null
        : {
            driver: isSimulated ? 'simulated' : (text('meter_driver') as MeterDriver),
            port: isSimulated ? null : meter,
            baudRate: isSimulated ? null : numberOf('meter_baud_rate'),
            frame: (answers.get('meter_frame') as 'segments' | 'characters' | undefined) ?? null,
            inputNumber: numberOf('meter_input'),
            accuracyPct: numberOf('meter_accuracy_pct'),
            accuracyVrms: numberOf('meter_accuracy_vrms'),
          },
    inputCount: numberOf('input_count'),
    fullScaleVrms: text('full_scale') === UNKNOWN ? null : Number.parseFloat(text('full_scale')),
    padDb: numberOf('pad_db'),
    levelUncertaintyDb: answers.has('level_uncertainty_db') ? numberOf('level_uncertainty_db') : 0.5,
  }
}

/** "alsa hw:CARD=Two,DEV=0" taken apart. */
export function driverAndDevice(value: string): { driver: string; device: string | null } {
  const [, driver, device] = /^(\S+)(?:\s+(\S.*))?$/.exec(value) ?? ['', value, undefined]
  return { driver, device: device ?? null }
}
