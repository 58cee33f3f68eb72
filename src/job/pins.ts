/**
 * The harness's pins in a job file: what each is, and what the meter has to read there before anything is plugged in.
 *
 * Every pin is read against battery minus, the two of a data bus also against each other. What the job does not say is
 * filled in by the pin's function.
 */
import { z } from 'zod'
import { complain, numberField, textField } from '../document/fields.js'
import { colourCodes } from './iec-60757.js'

export const PIN_FUNCTIONS = [
  'constant_supply',
  'ground',
  'remote_out',
  'ignition_in',
  'accessory_in',
  'data_high',
  'data_low',
  'line_output',
  'speaker',
  'not_connected',
  'restraint',
] as const
export type PinFunction = (typeof PIN_FUNCTIONS)[number]

/** In the order in which a key turns: so the walk changes it least. */
export const IGNITIONS = ['off', 'accessory', 'on'] as const
export type PinIgnition = (typeof IGNITIONS)[number]

export interface PinReading {
  readonly quantity: 'dcVolts' | 'ohms'
  readonly ignition: PinIgnition
  /** null: no limit that way. An open circuit is above every limit. */
  readonly min: number | null
  readonly max: number | null
  /** The other pin of its bus, for a reading between the two; null: against battery minus. */
  readonly across: { readonly connector: string; readonly pin: string } | null
  /** With a lamp as a load on it. */
  readonly isLoaded: boolean
}

export interface PinSpec {
  readonly connector: string
  readonly pin: string
  readonly function: PinFunction
  readonly label: string | null
  /** IEC 60757 letter codes in a row; null where the job does not say. */
  readonly colour: string | null
  /** Name of its data bus; null for others. */
  readonly bus: string | null
  /** Airbags and other restraints: no lead goes there, whatever else the table says. */
  readonly isLeftAlone: boolean
  readonly readings: readonly PinReading[]
}

export const pinId = ({ connector, pin }: { readonly connector: string; readonly pin: string }): string =>
  `${connector}-${pin}`

const RESTRAINT_WORDS = /air\s*-?bag|\bsrs\b|squib|pre-?tension|restraint/i

type Span = readonly [min: number, max: number]

/** Supply of electronics that need not work while the engine is cranked. Source: ISO 16750-2, supply code D. */
const SUPPLY_V: Span = [10.5, 16]
/** What a switched line that is off still may have: common practice, no source. */
const OFF_V: Span = [-0.5, 1]
/**
 * A bus that is awake, either wire: ISO 11898-2, recessive level. A busy one reads up to 2.5 V ± 1.0 V times its dominant
 * share, which up to a half is the same span.
 */
const DATA_V: Span = [2, 3]
/** Two terminators of 120 Ω (100 to 130 Ω) in parallel, power off. Source: ISO 11898-2. */
const PAIR_OHM: Span = [50, 65]
/** Common practice, no source: a sound ground with the meter's own leads, and its drop at some 2 A. */
const GROUND_OHM_MAX = 0.5
const GROUND_DROP_V: Span = [-0.1, 0.1]
/** No supply on a signal, and no short to the body: common practice, no source. */
const SIGNAL_V: Span = [-0.5, 0.5]
const SIGNAL_OHM_MIN = 10

const rangeOf = (unit: string) =>
  z
    .strictObject({
      min: numberField(-1000, 1e7).optional().describe(`Least (${unit}); leave out for none`),
      max: numberField(-1000, 1e7).optional().describe(`Most (${unit}); leave out for none`),
    })
    .superRefine(({ min, max }, context) => {
      if (min === undefined && max === undefined)
        complain(context, [], 'it has neither min nor max', 'Give one or both.')
      if (min === undefined || max === undefined || min < max) return
      complain(context, ['min'], `min is ${min}, not below max ${max}`, 'Allowed: min below max.')
    })

const Pin = z
  .strictObject({
    connector: textField(20).describe('Connector, as the harness sheet names it: C1'),
    pin: textField(8).describe('Number or letter of the pin in it'),
    function: z.enum(PIN_FUNCTIONS).describe('What it is: each has its usual readings; restraint is never measured'),
    label: textField(40).optional().describe('What the sheet says of it'),
    colour: textField(12)
      .superRefine((text, context) => {
        if (colourCodes(text) !== null) return
        complain(
          context,
          [],
          `colour "${text}" is no wire colour`,
          'Allowed: IEC 60757 codes, one or two: BK, RD, BKRD.',
        )
      })
      .optional()
      .describe('Wire colour by IEC 60757 letter codes: BK, RD, BKRD for black with red'),
    bus: textField(20)
      .optional()
      .describe('Name shared by data_high and data_low of one bus; may be left out for one bus'),
    ignition: z
      .array(z.enum(IGNITIONS))
      .min(1)
      .optional()
      .describe('Where its volts are expected: off, accessory, on; as usual for its function if left out'),
    volts: rangeOf('V')
      .optional()
      .describe('Expected volts against battery minus; as usual for its function if left out'),
    ohms: rangeOf('Ω')
      .optional()
      .describe(
        'Expected ohms against battery minus, of data_high across its bus; as usual for its function if left out',
      ),
  })
  .superRefine(({ function: what, volts, ohms, ignition, bus }, context) => {
    if (what === 'restraint') {
      const asked = (['volts', 'ohms', 'ignition'] as const).find((name) => ({ volts, ohms, ignition })[name])
      const remedy = 'Leave it out: airbag and other restraint circuits are never measured.'
      if (asked) complain(context, [asked], `${asked} is asked for at a restraint pin`, remedy)
    }
    if (bus !== undefined && what !== 'data_high' && what !== 'data_low') {
      complain(context, ['bus'], `a ${what} pin has no bus`, 'Leave bus out, or make it data_high or data_low.')
    }
    if (ohms !== undefined && what === 'data_low') {
      complain(context, ['ohms'], 'ohms across a bus stand at its data_high pin', 'Move it to the data_high pin.')
    }
  })
type PinFields = z.infer<typeof Pin>

const PIN_COUNT_MAX = 200
/** Where the job names no bus there is one. */
const ONLY_BUS = 'data'

export const pinsField = z
  .array(Pin)
  .max(PIN_COUNT_MAX)
  .superRefine((pins, context) => {
    pins.forEach((one, index) => {
      const same = pins.findIndex((other) => pinId(other).toLowerCase() === pinId(one).toLowerCase())
      if (same < index) {
        const remedy = 'Give each pin one entry; check the number against the harness sheet.'
        complain(context, [index, 'pin'], `pin ${pinId(one)} is given twice, also as ${pins[same].function}`, remedy)
      }
      const problem = busProblem(one, pins)
      if (problem !== null)
        complain(context, [index, 'function'], problem, 'Give each bus one data_high and one data_low.')
    })
  })
  .default([])
  .describe('Pins of the harness, read with the meter before anything is plugged in')

const busOf = ({ function: what, bus }: PinFields): string | null =>
  what === 'data_high' || what === 'data_low' ? (bus ?? ONLY_BUS) : null

function busProblem(one: PinFields, pins: readonly PinFields[]): string | null {
  const bus = busOf(one)
  if (bus === null) return null
  const others = pins.filter((other) => other !== one && busOf(other) === bus)
  const same = others.find((other) => other.function === one.function)
  if (same && pins.indexOf(same) < pins.indexOf(one))
    return `bus "${bus}" has ${one.function} twice, also ${pinId(same)}`
  return same || others.length > 0 ? null : `bus "${bus}" has ${one.function} only`
}

const isLeftAlone = ({ connector, function: what, label }: PinFields): boolean =>
  what === 'restraint' || RESTRAINT_WORDS.test(`${label ?? ''} ${connector}`)

export function pinsOf(pins: readonly PinFields[]): PinSpec[] {
  const hasAccessory = pins.some((pin) => pin.function === 'accessory_in')
  return pins.map((pin): PinSpec => {
    const { connector, function: what, label } = pin
    const isAlone = isLeftAlone(pin)
    const bus = busOf(pin)
    const low = pins.find((other) => other.function === 'data_low' && busOf(other) === bus)
    return {
      connector,
      pin: pin.pin,
      function: what,
      label: label ?? null,
      colour: pin.colour === undefined ? null : colourCodes(pin.colour)!.join(''),
      bus,
      isLeftAlone: isAlone,
      readings: isAlone ? [] : readingsOf(pin, low && !isLeftAlone(low) ? low : null, hasAccessory),
    }
  })
}

/** Where a function's volts are expected, by default, and what is then expected; ohms are read with the ignition off. */
const USUAL: Readonly<
  Record<
    PinFunction,
    { readonly ignition: readonly PinIgnition[]; readonly volts: Span | null; readonly ohms: Limits | null }
  >
> = {
  constant_supply: { ignition: ['off'], volts: SUPPLY_V, ohms: null },
  ground: { ignition: ['on'], volts: GROUND_DROP_V, ohms: [null, GROUND_OHM_MAX] },
  remote_out: { ignition: ['on'], volts: SUPPLY_V, ohms: null },
  ignition_in: { ignition: ['on'], volts: SUPPLY_V, ohms: null },
  accessory_in: { ignition: ['accessory', 'on'], volts: SUPPLY_V, ohms: null },
  data_high: { ignition: ['on'], volts: DATA_V, ohms: PAIR_OHM },
  data_low: { ignition: ['on'], volts: DATA_V, ohms: null },
  line_output: { ignition: ['off'], volts: SIGNAL_V, ohms: [SIGNAL_OHM_MIN, null] },
  speaker: { ignition: ['off'], volts: SIGNAL_V, ohms: [SIGNAL_OHM_MIN, null] },
  not_connected: { ignition: ['on'], volts: SIGNAL_V, ohms: null },
  restraint: { ignition: [], volts: null, ohms: null },
}
type Limits = readonly [min: number | null, max: number | null]

/** Functions that have to be dead where they are not expected to have volts. */
const SWITCHED: readonly PinFunction[] = ['remote_out', 'ignition_in', 'accessory_in']

function readingsOf(pin: PinFields, low: PinFields | null, hasAccessory: boolean): PinReading[] {
  const usual = USUAL[pin.function]
  const volts: Limits | null = pin.volts ? [pin.volts.min ?? null, pin.volts.max ?? null] : usual.volts
  const ohms: Limits | null = pin.ohms ? [pin.ohms.min ?? null, pin.ohms.max ?? null] : usual.ohms
  const expectedAt = pin.ignition ?? usual.ignition
  // An ignition line that is on with the accessories is on the wrong wire: asked only where the key stops there anyway.
  const looked = IGNITIONS.filter((state) => state !== 'accessory' || (hasAccessory && pin.function === 'ignition_in'))
  const deadAt = SWITCHED.includes(pin.function) ? looked.filter((state) => !expectedAt.includes(state)) : []
  const read = (quantity: PinReading['quantity'], ignition: PinIgnition, [min, max]: Limits): PinReading => ({
    quantity,
    ignition,
    min,
    max,
    across:
      quantity === 'ohms' && pin.function === 'data_high' && low ? { connector: low.connector, pin: low.pin } : null,
    isLoaded: quantity === 'dcVolts' && pin.function === 'ground',
  })
  return [
    ...IGNITIONS.flatMap((state) => {
      if (expectedAt.includes(state) && volts) return [read('dcVolts', state, volts)]
      return deadAt.includes(state) ? [read('dcVolts', state, OFF_V)] : []
    }),
    // Across a bus there is nothing to read where its other pin is left alone.
    ...(ohms && (pin.function !== 'data_high' || low) ? [read('ohms', 'off', ohms)] : []),
  ]
}
