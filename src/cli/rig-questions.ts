/** The questions that make a rig file, with defaults from what this computer has. */
import { INPUT_COUNT_MAX } from '../rig/schema.js'
import { SAMPLE_RATES_HZ } from '../rig/schema-sound.js'
import { type Choice, NotAllowed, numberIn } from '../stages/question.js'
import type { Answers, Step } from './questions.js'
import { driverAndDevice, SIMULATED_CARD, UNKNOWN } from './rig-answers.js'
import { meterSteps } from './rig-meter-questions.js'

/** What the questions need to know of a card or an output. */
export interface FoundDevice {
  readonly driver: 'pulse' | 'alsa' | 'ffmpeg'
  readonly name: string
  readonly says: string
  readonly channelCount: number | null
  readonly sampleRateHz: number | null
  readonly notes: readonly string[]
}

export interface Found {
  readonly captures: readonly FoundDevice[]
  readonly players: readonly FoundDevice[]
  readonly ports: readonly { readonly path: string; readonly says: string }[]
}

const SIMULATED: Choice = { value: SIMULATED_CARD, says: 'no hardware: a model of a card, to try things out' }
const STICK: Choice = { value: 'stick', says: 'none: a person starts the track from a stick, disc or phone' }
/** What the list of devices says of a name that is no card itself. */
const NO_CARD = /^(?:may lead through|repeats what)/
const NAME_LENGTH_MAX = 80
/** Names of all answers that a rig may want, in the order of their questions. */
export const RIG_ANSWERS: readonly string[] = [
  ...['name', 'capture', 'sample_rate_hz', 'input_count', 'full_scale', 'pad_db', 'level_uncertainty_db', 'player'],
  ...['meter', 'meter_driver', 'meter_frame', 'meter_baud_rate', 'meter_input'],
  ...['meter_accuracy_pct', 'meter_accuracy_vrms'],
]
const DBU_VRMS = Math.sqrt(0.6) // 0 dBu is 1 mW in 600 ohms

/** @param found what there is, as `linetrue rig devices` lists it */
export function rigSteps(found: Found): Step[] {
  const captures = [...found.captures.map(deviceChoice), SIMULATED]
  const hasCard = found.captures.some(({ notes }) => !notes.some((note) => NO_CARD.test(note)))
  const isLive = (answers: Answers): boolean => answers.get('capture') !== SIMULATED.value
  const card = (answers: Answers): FoundDevice | undefined =>
    found.captures.find((device) => wordOf(device) === answers.get('capture'))
  return [
    () => ({
      name: 'name',
      asks: 'What do you call this rig?',
      why: 'It stands in every report. Usual: the place and the card, "Bay 2, eight inputs".',
      usual: 'Bench',
      check: (text) => {
        if (text.length <= NAME_LENGTH_MAX && !/\p{Cc}/u.test(text)) return text
        throw new NotAllowed(`Allowed: one line of up to ${NAME_LENGTH_MAX} characters.`)
      },
    }),
    () => ({
      name: 'capture',
      asks: 'Which card do the leads go to?',
      why:
        found.captures.length === 0
          ? 'No card was found: linetrue rig devices says what is missing.'
          : hasCard
            ? 'It records the outputs. Usual: the card itself (alsa) or through the sound server (pulse); no monitor.'
            : 'No card itself was found: these names may lead through converters, or repeat what the computer plays. Take one only if you know where it leads.',
      choices: captures,
      usual: hasCard ? captures[0].value : SIMULATED.value,
      check: deviceCheck(captures, ['pulse', 'alsa', 'ffmpeg']),
    }),
    (answers) => ({
      name: 'sample_rate_hz',
      asks: 'At which sample rate does the card run (Hz)?',
      why: 'A rate that the card runs at by itself needs no conversion. Usual: 48000.',
      usual: String(knownRateHz(card(answers)?.sampleRateHz)),
      check: (text) => {
        const value = Number(text)
        if (SAMPLE_RATES_HZ.some((rateHz) => rateHz === value)) return String(value)
        throw new NotAllowed(`Allowed: ${SAMPLE_RATES_HZ.join(', ')}.`)
      },
    }),
    (answers) => ({
      name: 'input_count',
      asks: 'How many of its inputs have a lead?',
      why: "With fewer inputs than the vehicle's outputs, the run asks you to move the leads. Usual: all of the card's.",
      usual: String(Math.max(1, Math.min(INPUT_COUNT_MAX, card(answers)?.channelCount ?? 2))),
      check: numberIn(1, Math.min(INPUT_COUNT_MAX, card(answers)?.channelCount ?? INPUT_COUNT_MAX), true),
    }),
    () => ({
      name: 'full_scale',
      asks: 'Which level just reaches full scale at an input?',
      why: 'Every volt in the report hangs on it. From the card\'s data sheet ("maximum input level"): 4 V, 6 dBV, 20 dBu. Not known: the file gets a wide guess, and linetrue rig calibrate finds it with a meter.',
      usual: UNKNOWN,
      check: voltsOf,
    }),
    () => ({
      name: 'pad_db',
      asks: 'How many dB do the pads between leads and card take off?',
      why: 'Pads keep speaker-level outputs within the range of the card. Usual: 0, no pads.',
      usual: '0',
      check: numberIn(0, 80),
    }),
    (answers) =>
      answers.get('full_scale') === UNKNOWN
        ? null
        : {
            name: 'level_uncertainty_db',
            asks: 'How far may full scale and pads be off together (dB)?',
            why: 'A level closer to its limit than this is "unsure". Usual: 0.5 from a data sheet.',
            usual: '0.5',
            check: numberIn(0.001, 6),
          },
    (answers) => {
      if (!isLive(answers)) return null
      const driver = card(answers)?.driver
      const players = [
        // What goes the same way as the capture comes first.
        ...[...found.players]
          .sort((a, b) => Number(b.driver === driver) - Number(a.driver === driver))
          .map(deviceChoice),
        STICK,
      ]
      return {
        name: 'player',
        asks: 'What plays the track into the head unit?',
        why: 'Usual: an output of this computer, by cable or wireless link; or a stick that a person starts.',
        choices: players,
        usual: players[0].value,
        check: deviceCheck(players, ['pulse', 'alsa', 'ffmpeg']),
      }
    },
    ...meterSteps(found.ports),
  ]
}

const wordOf = ({ driver, name }: FoundDevice): string => `${driver} ${name}`

function deviceChoice(device: FoundDevice): Choice {
  const { says, channelCount, sampleRateHz, notes, name } = device
  const facts = [
    ...(says === name ? [] : [says]),
    ...(channelCount === null ? [] : [`${channelCount} channel${channelCount === 1 ? '' : 's'}`]),
    ...(sampleRateHz === null ? [] : [`${sampleRateHz / 1000} kHz`]),
    ...notes,
  ]
  return { value: wordOf(device), says: `${wordOf(device)}${facts.length === 0 ? '' : `: ${facts.join(', ')}`}` }
}

/** A listed device, or one that is not plugged in just now, as "driver name". */
const deviceCheck =
  (choices: readonly Choice[], drivers: readonly string[]) =>
  (text: string): string => {
    const listed = choices.find(
      ({ value }) =>
        value === text || value.slice(value.indexOf(' ') + 1) === text || value.toLowerCase() === text.toLowerCase(),
    )
    if (listed) return listed.value
    const { driver, device } = driverAndDevice(text)
    if (drivers.includes(driver) && device !== null) return `${driver} ${device}`
    throw new NotAllowed(
      `Allowed: 1 to ${choices.length}, or a driver (${drivers.join(', ')}) and a name: alsa hw:CARD=Two,DEV=0.`,
    )
  }

const knownRateHz = (rateHz: number | null | undefined): number =>
  SAMPLE_RATES_HZ.find((candidate) => candidate === rateHz) ?? 48_000

/**
 * Volts (rms of the sine that just reaches full scale) from what data sheets print: 4, 4 V, 6 dBV, 20 dBu, 11.3 Vpp.
 *
 * 0 dBu is 0.7746 V (1 mW in 600 ohms), 0 dBV is 1 V; a sine's peak to peak is 2 sqrt 2 times its rms.
 */
function voltsOf(text: string): string {
  if (/^(unknown|\?)$/i.test(text)) return UNKNOWN
  const [, digits, unit] = /^([+-]?[\d.,]+)\s*(v|vrms|v rms|mv|dbv|dbu|vpp)?$/i.exec(text) ?? []
  const value = Number((digits ?? '').replace(',', '.'))
  const vrms = {
    v: value,
    vrms: value,
    'v rms': value,
    mv: value / 1000,
    dbv: 10 ** (value / 20),
    dbu: DBU_VRMS * 10 ** (value / 20),
    vpp: value / (2 * Math.SQRT2),
  }[(unit ?? 'v').toLowerCase()]
  if (digits !== undefined && vrms !== undefined && vrms >= 0.001 && vrms <= 1000)
    return `${Number(vrms.toPrecision(5))} V`
  throw new NotAllowed('Allowed: volts (4, 4 V, 11.3 Vpp), 6 dBV, 20 dBu; or unknown.')
}
