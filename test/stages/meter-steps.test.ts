import { expect, test } from 'vitest'
import type { Meter } from '../../src/rig/roles.js'
import { meterOf } from '../../src/stages/meter-steps.js'
import type { StageContext } from '../../src/stages/stage.js'

const reading = (value: number): Pick<StageContext, 'bench' | 'rig'> => {
  const read = async () => ({ value, unit: 'V' as const })
  const meter = { where: 'meter', read, readOnce: read } as unknown as Meter
  return { bench: { meter }, rig: { meter: {}, name: 'bay' } } as unknown as Pick<StageContext, 'bench' | 'rig'>
}
const GO_ON = new AbortController().signal

test('a reading that no vehicle has is no reading: the meter is set to mV', async () => {
  // 12.6 V in mV, taken for volts.
  const meter = meterOf(reading(12_609.5), 'pins')
  await expect(meter.read('dcVolts', GO_ON)).rejects.toThrow(
    'the meter reads 12610 V, which no vehicle has there (meter). See whether it is set to mV or mA',
  )
  await expect(meter.readOnce('dcAmps', GO_ON)).rejects.toThrow('which no vehicle has there')
  expect((await meter.read('ohms', GO_ON)).value).toBe(12_609.5)
})

test('a truck of 24 V while it charges is read', async () => {
  // ISO 16750-2: 32 V at the most for 24 V systems in operation (from memory).
  expect((await meterOf(reading(32), 'pins').read('dcVolts', GO_ON)).value).toBe(32)
})
