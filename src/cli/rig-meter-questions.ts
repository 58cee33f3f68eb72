/** The questions about the meter of a rig file: its port, how it speaks, what it is across, how accurate it is. */
import { type MeterDriver, USUAL_BAUD } from '../rig/meter-spec.js'
import { type Choice, NotAllowed, numberIn, oneOf } from '../stages/question.js'
import type { Answers, Step } from './questions.js'
import { SIMULATED_CARD, WITHOUT_METER } from './rig-answers.js'

const NO_METER: Choice = { value: WITHOUT_METER, says: 'no meter' }
const METER_DRIVERS: readonly Choice[] = [
  { value: 'scpi', says: 'bench meter that answers *IDN?' },
  { value: 'lines', says: 'prints its readings as lines of text' },
  { value: 'frames', says: 'handheld with an optical lead, sends frames of 14 bytes' },
]
const FRAMES: readonly Choice[] = [
  { value: 'segments', says: 'the segments of its display' },
  { value: 'characters', says: 'digits as characters, and flags' },
]

const isLive = (answers: Answers): boolean => answers.get('capture') !== SIMULATED_CARD
const hasMeter = (answers: Answers): boolean => answers.get('meter') !== WITHOUT_METER
const hasLiveMeter = (answers: Answers): boolean => hasMeter(answers) && isLive(answers)

/** Asked after the card and the number of its inputs. */
export function meterSteps(ports: readonly { readonly path: string; readonly says: string }[]): Step[] {
  return [
    (answers) => {
      const choices = isLive(answers)
        ? [...ports.map(({ path, says }) => ({ value: path, says })), NO_METER]
        : [{ value: 'simulated', says: 'a model of a meter' }, NO_METER]
      return {
        name: 'meter',
        asks: 'Which port is the meter on?',
        why: "It checks the card's volts on one input. Usual: the one port that names an adapter; or no meter.",
        choices,
        usual: choices[0].value,
        check: (text) => {
          if (!isLive(answers)) return oneOf(choices)(text)
          // Ports that are not plugged in just now may be named too.
          const listed = choices.find(({ value }) => value.toLowerCase() === text.toLowerCase())
          if (listed) return listed.value
          if (/^(\/|COM\d|serial:\s*\S)/i.test(text)) return text
          throw new NotAllowed('Allowed: a number of the list, a port (/dev/ttyUSB0, COM3, serial:A1B2C3), or none.')
        },
      }
    },
    (answers) =>
      hasLiveMeter(answers)
        ? {
            name: 'meter_driver',
            asks: 'How does the meter speak?',
            why: 'Its manual says so under "interface" or "remote". Usual: bench meters scpi, handhelds frames.',
            choices: METER_DRIVERS,
            usual: 'scpi',
            check: oneOf(METER_DRIVERS),
          }
        : null,
    (answers) =>
      hasLiveMeter(answers) && answers.get('meter_driver') === 'frames'
        ? {
            name: 'meter_frame',
            asks: 'What do its frames hold?',
            why: 'Meter chips differ. Usual: segments; if linetrue rig check reads nonsense, the other one.',
            choices: FRAMES,
            usual: 'segments',
            check: oneOf(FRAMES),
          }
        : null,
    (answers) =>
      hasLiveMeter(answers)
        ? {
            name: 'meter_baud_rate',
            asks: 'Speed of its port (baud)?',
            why: "As set in the meter's own menu; a wrong one gives unreadable answers.",
            usual: String(USUAL_BAUD[answers.get('meter_driver') as MeterDriver]),
            check: numberIn(300, 921_600, true),
          }
        : null,
    (answers) =>
      hasMeter(answers)
        ? {
            name: 'meter_input',
            asks: 'Across which input are its probes?',
            why: 'Meter and card read the same lead, so that their volts can be compared. Usual: 1.',
            usual: '1',
            check: numberIn(1, Number(answers.get('input_count')), true),
          }
        : null,
    (answers) =>
      hasMeter(answers)
        ? {
            name: 'meter_accuracy_pct',
            asks: 'How accurate is it for AC volts at 1 kHz: part of the reading (%)?',
            why: 'Its data sheet says "± (1 % + 5 counts)". Usual: bench meters 0.1 to 0.5, handhelds 1.',
            usual: '1',
            check: numberIn(0, 20),
          }
        : null,
    (answers) =>
      hasMeter(answers)
        ? {
            name: 'meter_accuracy_vrms',
            asks: 'And the fixed part, in volts?',
            why: 'Counts times resolution: 5 counts of 1 mV are 0.005. Usual: 0.005.',
            usual: '0.005',
            check: numberIn(0, 1),
          }
        : null,
  ]
}
