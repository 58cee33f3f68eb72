/**
 * The harness's pins, read with the meter before anything is plugged in.
 *
 * The walk changes the ignition as little as it can: off first, there all that is read in ohms, then the rest; then
 * accessory, then on. Volts always come before ohms: a meter in ohms on a live circuit reads nonsense and may be harmed. Pins
 * of airbags and other restraints are no steps of it.
 */
import { colourWords } from '../job/iec-60757.js'
import { IGNITIONS, type PinIgnition, type PinReading, type PinSpec, pinId } from '../job/pins.js'
import { MeterOverload } from '../rig/overload.js'
import type { MeterSpec } from '../rig/rig.js'
import type { Meter, MeterQuantity } from '../rig/roles.js'
import { StopError } from '../units/stop.js'
import { meanOf } from '../units/uncertainty.js'
import {
  checkOf,
  FUNCTION_WORDS,
  inPinUnit,
  judgePins,
  type PinRead,
  readingKey,
  stateWords,
} from '../verdict/pin-checks.js'
import { pinsResult } from '../verdict/pins-result.js'
import { DIAL_WORDS, isTurnedByHand, meterOf, untilRead } from './meter-steps.js'
import { inSteps, type Stage, type StageContext, type Step } from './stage.js'

const BEFORE = [
  'Airbags and other restraints: their plugs are commonly yellow. Leave them alone; no lead of a meter goes there.',
  'The interface stays unplugged; the harness hangs free, and no two terminals touch.',
]
/** More than this between the leads, and ohms are not read. */
const LIVE_V = 0.1
/** The wires of a bus that talks never stand still: so many readings are averaged. */
const BUS_READING_COUNT = 7

/** One place of the leads in one state of the ignition, with all that is read there. */
interface Stop {
  readonly spec: PinSpec
  readonly ignition: PinIgnition
  readonly readings: readonly PinReading[]
}

/** What a step leaves: in the order of its readings. */
interface StopLeft {
  readonly reads: readonly PinRead[]
}

export const pinsStage: Stage = async (context) => {
  const { job, rig, bench, guide, memory, now, signal } = context
  if (job.pins.length === 0) {
    const remedy = 'Add "pins:" to the job file: connector, pin and function of each pin of the harness.'
    throw new StopError('the stage pins needs a table of pins, and the job has none', `job ${job.name}`, remedy)
  }
  const meter = meterOf(context, 'pins')
  const startedAt = startOf(memory.get('started'), now)
  await memory.put('started', startedAt)
  for (const line of BEFORE) guide.say(`Caution: ${line}`)
  for (const spec of job.pins.filter(({ isLeftAlone }) => isLeftAlone)) {
    guide.say(`${pinId(spec)} is left alone: a restraint circuit.`)
  }
  const stops = stopsOf(job.pins)
  const walk = new Walk(context, meter, rig.meter!)
  const left = await inSteps<StopLeft>(
    stops.map((stop): Step<StopLeft> => ({ key: stopName(stop), run: () => walk.at(stop) })),
    memory,
    signal,
  )
  await guide.todo(
    { name: 'pins.end', says: "Take the meter's leads off the harness, and switch the ignition off.", canSkip: false },
    signal,
  )
  await bench.act({ kind: 'meter', to: { at: 'input' } }, signal)
  const reads = new Map(
    stops.flatMap(({ spec, readings }, i) =>
      readings.flatMap((reading, k): [string, PinRead][] => {
        const read = left[i]?.reads[k]
        return read ? [[readingKey(spec, reading), read]] : []
      }),
    ),
  )
  const judged = judgePins(job.pins, reads, rig.meter!)
  return { ...pinsResult(job.pins, judged, BEFORE), startedAt, endedAt: now().toISOString() }
}

const startOf = (kept: unknown, now: () => Date): string => (typeof kept === 'string' ? kept : now().toISOString())

/** Ohms first where the ignition is off; then by the table. A pin whose ohms go to battery minus has its volts read along. */
export function stopsOf(pins: readonly PinSpec[]): Stop[] {
  return IGNITIONS.flatMap((ignition) => {
    const stops = pins.flatMap((spec) => {
      const here = spec.readings.filter((reading) => reading.ignition === ignition)
      const across = here.filter((reading) => reading.across)
      const against = here.filter((reading) => !reading.across)
      return [across, against]
        .filter((readings) => readings.length > 0)
        .map((readings) => ({ spec, ignition, readings }))
    })
    const isOhms = ({ readings }: Stop): boolean => readings.some(({ quantity }) => quantity === 'ohms')
    const rank = (stop: Stop): number => (stop.readings.some(({ across }) => across) ? 0 : isOhms(stop) ? 1 : 2)
    return stops.sort((a, b) => rank(a) - rank(b))
  })
}

/** pins.C1-4.off, and pins.C1-4.across for the reading between the two wires of a bus. */
const stopName = ({ spec, ignition, readings }: Stop): string =>
  `pins.${pinId(spec)}.${readings.some(({ across }) => across) ? 'across' : ignition}`

class Walk {
  /** Since this command began; null: nobody has been asked. */
  private ignition: PinIgnition | null = null
  private dial: MeterQuantity | null = null

  constructor(
    private readonly context: StageContext,
    private readonly meter: Meter,
    private readonly spec: MeterSpec,
  ) {}

  async at(stop: Stop): Promise<StopLeft | 'back' | 'skip'> {
    const { guide, bench, signal } = this.context
    if (!(await this.setIgnition(stop.ignition))) return 'back'
    const { spec, readings } = stop
    const name = stopName(stop)
    const across = readings[0].across
    const says = leadWords(stop)
    const reply = await guide.todo({ name, says, canSkip: true }, signal)
    if (reply !== 'done') return reply
    const { connector, pin } = spec
    await bench.act({ kind: 'meter', to: { at: 'pin', connector, pin, against: across ?? 'battery minus' } }, signal)
    const reads: PinRead[] = []
    // Volts first: of a pin that is read both ways they tell whether ohms may be read.
    for (const reading of readings) {
      const read = await this.read(reading, spec, name)
      if (read === 'back' || read === 'skip') return read
      reads.push(read)
      this.say(spec, reading, read)
    }
    return { reads }
  }

  /** Asked for only where it changes. */
  private async setIgnition(to: PinIgnition): Promise<boolean> {
    const { guide, bench, signal } = this.context
    if (this.ignition === to) return true
    const says = {
      off: 'Ignition off, key out, doors shut; wait until the vehicle sleeps. Meter: black lead on battery minus.',
      accessory: 'Ignition to accessory.',
      on: 'Ignition on, engine off.',
    }[to]
    const reply = await guide.todo({ name: `pins.ignition-${to}`, says, canSkip: false }, signal)
    if (reply === 'back') return false
    await bench.act({ kind: 'ignition', to }, signal)
    this.ignition = to
    return true
  }

  private async read(reading: PinReading, spec: PinSpec, name: string): Promise<PinRead | 'back' | 'skip'> {
    const { guide, signal } = this.context
    for (;;) {
      const read = await this.readNow(reading, spec, name)
      if (read === 'back' || read === 'skip' || read.why !== 'live' || !guide.isAttended) return read
      guide.say(`${pinId(spec)} has ${inPinUnit(read.voltsBefore!, 'dcVolts')}: ohms are not read on a live circuit.`)
      const says = 'Switch off what feeds it or wait until the vehicle sleeps, then Enter reads again.'
      const reply = await guide.todo({ name: `${name}.live`, says, canSkip: true }, signal)
      // Left as it is: what was found counts.
      if (reply === 'skip') return read
      if (reply === 'back') return 'back'
    }
  }

  private async readNow(reading: PinReading, spec: PinSpec, name: string): Promise<PinRead | 'back' | 'skip'> {
    const volts = await this.value('dcVolts', spec, name)
    if (volts === 'back' || volts === 'skip') return volts
    if (reading.quantity === 'dcVolts') return { ...volts, why: null, voltsBefore: null }
    const voltsBefore = volts.value!
    if (Math.abs(voltsBefore) > LIVE_V) return { value: null, why: 'live', spreadU: 0, voltsBefore }
    const ohms = await this.value('ohms', spec, name)
    if (ohms === 'back' || ohms === 'skip') return ohms
    return { ...ohms, why: ohms.value === null ? 'open' : null, voltsBefore }
  }

  /** @returns value null for an open circuit */
  private async value(
    quantity: 'dcVolts' | 'ohms',
    spec: PinSpec,
    name: string,
  ): Promise<Pick<PinRead, 'value' | 'spreadU'> | 'back' | 'skip'> {
    const { guide, signal } = this.context
    if (isTurnedByHand(this.context) && this.dial !== quantity) {
      const says = `Turn the meter to ${DIAL_WORDS[quantity]}; leave its leads where they are.`
      const reply = await guide.todo({ name: `${name}.dial`, says, canSkip: false }, signal)
      if (reply !== 'done') return reply
      this.dial = quantity
    }
    return untilRead(this.context, `${name}.again`, async () => {
      try {
        const isBus = spec.bus !== null && quantity === 'dcVolts'
        if (!isBus) return { value: (await this.meter.read(quantity, signal)).value, spreadU: 0 }
        const values: number[] = []
        while (values.length < BUS_READING_COUNT) values.push((await this.meter.readOnce(quantity, signal)).value)
        const { mean, u } = meanOf(values)
        return { value: mean, spreadU: u }
      } catch (error) {
        if (quantity === 'ohms' && error instanceof MeterOverload) return { value: null, spreadU: 0 }
        throw error
      }
    })
  }

  private say(spec: PinSpec, reading: PinReading, read: PinRead): void {
    const { verdict, measured, expected } = checkOf(spec, reading, read, this.spec)
    const word = { pass: 'PASS', fail: 'FAIL', unsure: 'UNSURE' }[verdict]
    this.context.guide.say(`${word}  ${pinId(spec)}, ${stateWords(reading)}: ${measured} (${expected})`)
  }
}

function leadWords({ spec, readings }: Stop): string {
  const colour = spec.colour === null ? '' : `, ${colourWords(spec.colour)}`
  const what = `${spec.connector} pin ${spec.pin}: ${FUNCTION_WORDS[spec.function]}${spec.label === null ? '' : ` "${spec.label}"`}${colour}`
  const across = readings[0].across
  if (across) {
    return `Meter: red lead on ${what}; black lead on ${across.connector} pin ${across.pin}. Power off: volts are looked at first, then ohms.`
  }
  const load = readings.some(({ isLoaded }) => isLoaded) ? ' Load it: a 21 W lamp from a fused supply to this pin.' : ''
  return `Meter: red lead on ${what}; black lead on battery minus.${load}`
}
