/** What stages that walk with the meter share: that there is one, and a second try where it was set wrong. */
import type { Meter, MeterQuantity, MeterReading } from '../rig/roles.js'
import { StopError } from '../units/stop.js'
import type { StageContext } from './stage.js'

/** @throws StopError when the rig has none */
export function meterOf({ bench, rig }: Pick<StageContext, 'bench' | 'rig'>, stage: string): Meter {
  if (bench.meter && rig.meter) return sensible(bench.meter)
  throw new StopError(
    `the stage ${stage} needs a meter, and the rig has none`,
    `rig ${rig.name}`,
    'Add "meter:" to the rig file, with driver, port and accuracy_pct.',
  )
}

/** A meter whose function a person turns, because it only prints. */
export const isTurnedByHand = ({ rig }: Pick<StageContext, 'rig'>): boolean =>
  rig.meter?.driver === 'lines' || rig.meter?.driver === 'frames'

export const DIAL_WORDS: Readonly<Record<MeterQuantity, string>> = {
  acVolts: 'AC volts',
  dcVolts: 'DC volts',
  ohms: 'ohms',
  dcAmps: 'DC amperes',
}

/**
 * Reads, and where the meter stops it (wrong function, loose leads) has a person put it right and reads again, or step back.
 *
 * @param name of the question, as an answers file names it: pins.C1-4.off.again
 * @throws StopError the meter's own, where nobody attends
 */
export async function untilRead<T>(
  { guide, signal }: Pick<StageContext, 'guide' | 'signal'>,
  name: string,
  read: () => Promise<T>,
): Promise<T | 'back' | 'skip'> {
  for (;;) {
    try {
      return await read()
    } catch (error) {
      const isBench = error instanceof StopError && error.kind === 'instrument'
      if (!isBench || !guide.isAttended || signal.aborted) throw error
      guide.say(`No reading: ${error.message}`)
      const reply = await guide.todo({ name, says: 'Put that right, then it is read again.', canSkip: true }, signal)
      if (reply !== 'done') return reply
    }
  }
}

/** More than any place of a 12 or 24 V vehicle has where a stage reads: common practice, no source. */
const MOST: Partial<Record<MeterQuantity, number>> = { dcVolts: 100, dcAmps: 100 }

/** The meter, but a reading that cannot be is no reading: one in mV that is taken for V would condemn every pin. */
function sensible(meter: Meter): Meter {
  const looked = (quantity: MeterQuantity, reading: MeterReading): MeterReading => {
    if (Math.abs(reading.value) <= (MOST[quantity] ?? Number.POSITIVE_INFINITY)) return reading
    throw new StopError(
      `the meter reads ${Math.round(reading.value)} ${reading.unit}, which no vehicle has there`,
      meter.where,
      'See whether it is set to mV or mA, and whether the unit in the rig file is right.',
      'instrument',
    )
  }
  return {
    where: meter.where,
    identify: (signal) => meter.identify(signal),
    readAcVrms: (signal) => meter.readAcVrms(signal),
    read: async (quantity, signal) => looked(quantity, await meter.read(quantity, signal)),
    readOnce: async (quantity, signal) => looked(quantity, await meter.readOnce(quantity, signal)),
  }
}
