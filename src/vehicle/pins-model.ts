/**
 * What a meter finds at the modelled harness: each pin as the job's table wants it, then what the faults file changes.
 *
 * Volts are against battery minus. A meter in ohms on a circuit that has volts shows nothing that means anything: overload.
 */
import type { Job } from '../job/job.js'
import { IGNITIONS, type PinIgnition, type PinSpec, pinId } from '../job/pins.js'
import type { MeterPlace } from '../rig/acts.js'
import type { MeterQuantity } from '../rig/roles.js'
import type { PinFault, PinFaults } from './fault-pins.js'
import { between, evenRandom, seedFor } from './seeded.js'

const BATTERY_V = 12.6
const SWITCHED_V = 12.3
/** A busy bus: nominal levels of ISO 11898-2, dominant for this part of the time. */
const DOMINANT_SHARE = 0.15
const [RECESSIVE_V, SWING_V] = [2.5, 1]
const TERMINATOR_OHM = 120
const GROUND_OHM = 0.06
const LOAD_A = 2
const LIVE_V = 0.1

interface Wire {
  readonly spec: PinSpec
  readonly fault: PinFault | null
  readonly volts: Readonly<Record<PinIgnition, number>>
  /** To battery minus, null for none; of data_high across its bus. */
  readonly ohms: number | null
}

export interface PinsModel {
  /** By the pin at which each comes out. */
  readonly wires: ReadonlyMap<string, Wire>
}

export function pinsModel(job: Job, faults: PinFaults, seed: number): PinsModel {
  const byPin = new Map(
    job.pins.map((spec) => [pinId(spec), wireOf(spec, faults.byPin.get(pinId(spec)) ?? null, seed)]),
  )
  return { wires: new Map([...byPin.keys()].map((id) => [id, byPin.get(faults.wireAt.get(id) ?? id)!])) }
}

function wireOf(spec: PinSpec, fault: PinFault | null, seed: number): Wire {
  const even = evenRandom(seedFor(seed, 'pin', pinId(spec)))
  const factor = 1 + between(even, -0.005, 0.005)
  const volts = Object.fromEntries(
    IGNITIONS.map((state) => [state, faultyVolts(factor * healthyVolts(spec, state), spec, fault, state)]),
  ) as Record<PinIgnition, number>
  return { spec, fault, volts, ohms: ohmsOf(spec, fault, factor) }
}

function healthyVolts(spec: PinSpec, state: PinIgnition): number {
  const usual = usualVolts(spec, state)
  const read = spec.readings.find(({ quantity, ignition }) => quantity === 'dcVolts' && ignition === state)
  if (!read) return usual
  // A job with values of its own has a vehicle with such values.
  const { min, max } = read
  const isGood = (min === null || usual >= min) && (max === null || usual <= max)
  return isGood ? usual : min !== null && max !== null ? (min + max) / 2 : (min ?? max)!
}

function usualVolts({ function: what }: PinSpec, state: PinIgnition): number {
  const isOn = state === 'on'
  switch (what) {
    case 'constant_supply':
      return BATTERY_V
    case 'remote_out':
    case 'ignition_in':
      return isOn ? SWITCHED_V : 0.01
    case 'accessory_in':
      return state === 'off' ? 0.01 : SWITCHED_V
    case 'ground':
      return isOn ? LOAD_A * GROUND_OHM * 0.5 : 0.001
    case 'data_high':
      return isOn ? RECESSIVE_V + DOMINANT_SHARE * SWING_V : 0.01
    case 'data_low':
      return isOn ? RECESSIVE_V - DOMINANT_SHARE * SWING_V : 0.01
    default:
      return 0.002
  }
}

function faultyVolts(healthy: number, spec: PinSpec, fault: PinFault | null, state: PinIgnition): number {
  if (!fault) return healthy
  if (fault.isOpen) return 0
  if (fault.shortTo !== null) return fault.shortTo === 'supply' ? BATTERY_V : 0
  const isUnderLoad = spec.function === 'ground' && state === 'on'
  if (fault.volts !== null) return isUnderLoad || Math.abs(healthy) > 1 ? fault.volts : healthy
  return isUnderLoad && fault.ohms !== null ? Math.min(BATTERY_V, LOAD_A * fault.ohms) : healthy
}

function ohmsOf(spec: PinSpec, fault: PinFault | null, factor: number): number | null {
  if (fault?.isOpen) return null
  if (fault?.ohms != null) return fault.ohms
  if (spec.function === 'data_high') {
    const count = fault?.terminatorCount ?? 2
    if (fault?.terminatorCount == null) {
      const own = spec.readings.find(({ quantity }) => quantity === 'ohms')
      const usual = (factor * TERMINATOR_OHM) / 2
      const isGood = !own || ((own.min ?? 0) <= usual && usual <= (own.max ?? usual))
      return isGood ? usual : own.min !== null && own.max !== null ? (own.min + own.max) / 2 : (own.min ?? own.max)
    }
    return count === 0 ? null : (factor * TERMINATOR_OHM) / count
  }
  if (fault?.shortTo === 'ground') return 0.1
  return spec.function === 'ground' ? factor * GROUND_OHM : null
}

/** @returns null for an overload */
export function pinTruth(
  model: PinsModel,
  place: MeterPlace & { readonly at: 'pin' },
  ignition: PinIgnition,
  quantity: MeterQuantity,
): number | null {
  const wire = model.wires.get(pinId(place))
  if (!wire) return quantity === 'ohms' ? null : 0
  const other = typeof place.against === 'string' ? null : model.wires.get(pinId(place.against))
  const reference = place.against === 'battery plus' ? BATTERY_V : (other?.volts[ignition] ?? 0)
  const volts = wire.volts[ignition] - reference
  if (quantity !== 'ohms') return quantity === 'dcVolts' ? volts : 0
  if (Math.abs(volts) > LIVE_V) return null
  return typeof place.against === 'string' ? againstMinus(wire) : acrossOhms(wire, other ?? null)
}

const againstMinus = ({ spec, ohms, fault }: Wire): number | null =>
  spec.function === 'data_high' ? (fault?.shortTo === 'ground' ? 0.1 : null) : ohms

/** Either way round; null where they are not the two of one bus, or one of them is broken. */
function acrossOhms(wire: Wire, other: Wire | null): number | null {
  if (!other || wire.fault?.isOpen || other.fault?.isOpen || wire.spec.bus === null) return null
  if (wire.spec.bus !== other.spec.bus) return null
  return wire.spec.function === 'data_high' ? wire.ohms : other.ohms
}
