/** Chimes and warnings of the vehicle in the job file: what makes each sound, and where it has to come from. */
import { z } from 'zod'
import { complain, countField, numberField, textField } from '../document/fields.js'

export interface ChimeSpec {
  readonly name: string
  /** How a person makes it sound, as an instruction. */
  readonly trigger: string
  /** Outputs that it has to come from. */
  readonly outputs: readonly number[]
  /** Outputs that it may come from besides. */
  readonly alsoAllowed: readonly number[]
  /** How long it is waited for. */
  readonly waitS: number
  /** This far below the loudest of its outputs an output counts as silent. */
  readonly separationDb: number
}

const numbersField = z.array(countField(1, 99)).max(32)

const Chime = z.strictObject({
  name: textField(40).describe('What sounds: turn signal, park distance rear, seat belt, lane, call, navigation …'),
  trigger: textField(300)
    .optional()
    .describe('How a person makes it sound while the vehicle stands; for the usual names as usual if left out'),
  outputs: numbersField.min(1).describe('Numbers of the outputs that it has to come from'),
  also_allowed: numbersField.default([]).describe('Numbers of outputs that it may come from besides'),
  wait_s: numberField(2, 120).default(20).describe('How long it is waited for (s)'),
  separation_db: numberField(6, 60)
    .default(20)
    .describe('Every other output has to be this far below the loudest (dB); common practice'),
})

export const chimesField = z
  .array(Chime)
  .max(40)
  .default([])
  .describe('Chimes and warnings that still have to sound, and the outputs that they come from')
type ChimeFields = z.infer<typeof Chime>

export function checkChimes(
  file: { readonly outputs: readonly { readonly number: number }[]; readonly chimes: readonly ChimeFields[] },
  context: Parameters<typeof complain>[0],
): void {
  const known = file.outputs.map(({ number }) => number)
  file.chimes.forEach(({ name, outputs, also_allowed }, index) => {
    const sameName = file.chimes.findIndex((other) => other.name.toLowerCase() === name.toLowerCase())
    if (sameName < index) {
      complain(
        context,
        ['chimes', index, 'name'],
        `name "${name}" is given twice`,
        'Give each chime a name of its own.',
      )
    }
    const places = { outputs, also_allowed }
    for (const key of ['outputs', 'also_allowed'] as const) {
      places[key].forEach((number, place) => {
        const path = ['chimes', index, key, place]
        if (!known.includes(number)) {
          complain(context, path, `the map has no output ${number}`, `Name outputs of the map: ${known.join(', ')}.`)
        } else if (places[key].indexOf(number) < place || (key === 'also_allowed' && outputs.includes(number))) {
          complain(context, path, `output ${number} is given twice`, 'Name each output once.')
        }
      })
    }
  })
}

const STANDS = 'The vehicle stands, parking brake on.'

/** The first that fits counts. */
const USUAL: readonly (readonly [RegExp, string])[] = [
  [/turn|indicator|blinker|hazard/i, `${STANDS} Ignition on: switch a turn signal on for some seconds.`],
  [
    /park|distance|reverse|sensor/i,
    `${STANDS} Ignition on, engine off, the gear that wakes the sensors: an assistant moves a large flat thing, such as a board, slowly towards the sensor. Nobody drives towards anything.`,
  ],
  [
    /belt/i,
    `${STANDS} Sit in the driver's seat with the belt open, ignition on; some vehicles want the engine running.`,
  ],
  [/door|light|key/i, `${STANDS} Ignition off, lights on or key in: open the driver's door.`],
  [
    /lane|blind|collision|speed/i,
    'This one sounds while driving only: let a diagnostic tool sound it, or leave it out. Nobody drives for this.',
  ],
  [/call|phone|ring/i, `${STANDS} Have a telephone that is paired with the vehicle called.`],
  [/navi|route|voice/i, `${STANDS} Start a route and ask for its announcement again.`],
]

const triggerOf = (name: string): string =>
  USUAL.find(([pattern]) => pattern.test(name))?.[1] ?? `${STANDS} Make it sound.`

export const chimesOf = (chimes: readonly ChimeFields[]): ChimeSpec[] =>
  chimes.map(({ name, trigger, outputs, also_allowed, wait_s, separation_db }) => ({
    name,
    trigger: trigger ?? triggerOf(name),
    outputs,
    alsoAllowed: also_allowed,
    waitS: wait_s,
    separationDb: separation_db,
  }))
