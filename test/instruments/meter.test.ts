import { describe, expect, test } from 'vitest'
import { SettledMeter } from '../../src/instruments/meter.js'
import { UnpluggedError } from '../../src/instruments/port-errors.js'
import type { Reading, ReadingSource } from '../../src/instruments/reading.js'
import { READING_COUNT_MAX, settledValue } from '../../src/instruments/settle.js'
import { StopError } from '../../src/units/stop.js'

const never = new AbortController().signal
const ACCURACY = { accuracyPct: 0.5, accuracyVrms: 0.002 }
const fine = (...values: number[]): Reading[] => values.map((value) => ({ value, resolution: 0 }))

describe('readings count', () => {
  // Truth: closed form. Half the accuracy at 2 V is (0.01 + 0.002) / 2 = 6 mV.
  test('with a spread of half the accuracy, and not with a little more', () => {
    expect(settledValue(fine(2, 2.003, 2.0059), 'acVolts', ACCURACY)).toBeCloseTo(2.00296667, 6)
    expect(settledValue(fine(2, 2.003, 2.0061), 'acVolts', ACCURACY)).toBeNull()
  })

  test('once three in a row agree, whatever came before', () => {
    expect(settledValue(fine(2, 2), 'acVolts', ACCURACY)).toBeNull()
    expect(settledValue(fine(0.1, 1.5, 2, 2, 2), 'acVolts', ACCURACY)).toBe(2)
  })

  // Closed form: a meter that shows 10 mV cannot show 0.125 V other than as 0.12 and 0.13.
  test('although their last digit flickers, but not by two', () => {
    const coarse = (...values: number[]): Reading[] => values.map((value) => ({ value, resolution: 0.01 }))
    expect(settledValue(coarse(0.12, 0.13, 0.12), 'acVolts', ACCURACY)).toBeCloseTo(0.37 / 3, 12)
    expect(settledValue(coarse(0.12, 0.14, 0.12), 'acVolts', ACCURACY)).toBeNull()
  })

  // Closed form: half of 0.5 % of 12.6 V is 31.5 mV; the fixed part belongs to AC volts.
  test('below zero as above it', () => {
    expect(settledValue(fine(-12.6, -12.63, -12.6), 'dcVolts', ACCURACY)).toBeCloseTo(-12.61, 9)
    expect(settledValue(fine(-12.6, -12.64, -12.6), 'dcVolts', ACCURACY)).toBeNull()
  })

  test('near nothing by a floor of their own', () => {
    const exact = { accuracyPct: 0, accuracyVrms: 0 }
    expect(settledValue(fine(0, 0.00009, 0), 'dcVolts', exact)).toBeCloseTo(0.00003, 9)
    expect(settledValue(fine(0, 0.09, 0), 'ohms', exact)).toBeCloseTo(0.03, 9)
    expect(settledValue(fine(0, 2e-6, 0), 'dcAmps', exact)).toBeNull()
  })
})

/** A meter that gives these readings, and goes away where one of them is null. */
function sourceOf(
  values: (number | null)[],
  says = 'Works,M-1,7,1',
  where = 'PORT',
): ReadingSource & { isClosed: boolean } {
  return {
    where,
    paceS: 0,
    isClosed: false,
    identify: async () => says,
    beginAnew() {},
    async readOnce() {
      const value = values.shift()
      if (value == null) throw new UnpluggedError(where)
      return { value, resolution: 0 }
    },
    async close() {
      this.isClosed = true
    },
  }
}
const noOpen = async (): Promise<ReadingSource> => {
  throw new StopError('there is no such port', 'PORT', 'Plug the meter in.', 'instrument')
}
const QUICK = { replugS: 0.5, everyS: 0.01 }

describe('a meter', () => {
  test('gives a settled reading with its unit, or one as it comes', async () => {
    const meter = new SettledMeter(sourceOf([1, 2, 2, 2, 7]), noOpen, ACCURACY)
    expect(await meter.read('ohms', never)).toEqual({ value: 2, unit: 'Ω' })
    expect(await meter.readOnce('dcAmps', never)).toEqual({ value: 7, unit: 'A' })
  })

  test('whose readings do not settle is said', async () => {
    const values = Array.from({ length: READING_COUNT_MAX }, (_, n) => 1 + (n % 2))
    const meter = new SettledMeter(sourceOf(values), noOpen, ACCURACY)
    await expect(meter.readAcVrms(never)).rejects.toThrow(
      "the meter's readings do not settle: the last of 20 are 2.000, 1.000, 2.000 V (PORT). " +
        'Check that its leads sit firmly and that the tone plays; choose a fixed range.',
    )
  })
})

describe('a meter that is unplugged', () => {
  test('and plugged in again at another path goes on, and begins its reading anew', async () => {
    const notices: string[] = []
    const first = sourceOf([2, 2, null])
    let tries = 0
    const open = async (): Promise<ReadingSource> => {
      if (++tries < 3) return noOpen()
      return sourceOf([5, 5, 5], 'Works,M-1,7,1', 'PORT2')
    }
    const meter = new SettledMeter(first, open, ACCURACY, { ...QUICK, onNotice: (says) => notices.push(says) })
    await meter.identify(never)
    expect(await meter.readAcVrms(never)).toBe(5)
    expect([tries, first.isClosed, meter.where]).toEqual([3, true, 'PORT2'])
    expect(notices).toEqual([
      'The meter on PORT was unplugged. Plug it in again: waiting up to 1 s.',
      'The meter is back on PORT2.',
    ])
  })

  test('and stays away ends with its line', async () => {
    const meter = new SettledMeter(sourceOf([null]), noOpen, ACCURACY, { replugS: 0.1, everyS: 0.01 })
    await expect(meter.readAcVrms(never)).rejects.toThrow(
      'the meter was unplugged (PORT). Plug it in again, then give the same command again.',
    )
  })

  test('and comes back as another one is not gone on with', async () => {
    const other = sourceOf([1, 1, 1], 'Works,M-1,8,1')
    const meter = new SettledMeter(sourceOf([null]), async () => other, ACCURACY, QUICK)
    await meter.identify(never)
    await expect(meter.readAcVrms(never)).rejects.toThrow(
      'another meter is on the port: "Works,M-1,8,1" in place of "Works,M-1,7,1" (PORT).',
    )
    expect(other.isClosed).toBe(true)
  })

  test('and takes its time to answer is waited for', async () => {
    let tries = 0
    const slow = async (): Promise<ReadingSource> => ({
      ...sourceOf([3, 3, 3]),
      identify: async () => {
        if (++tries < 3) throw new StopError('the meter does not answer "*IDN?"', 'PORT', 'Check it.', 'instrument')
        return 'Works,M-1,7,1'
      },
    })
    const meter = new SettledMeter(sourceOf([null]), slow, ACCURACY, QUICK)
    expect(await meter.readAcVrms(never)).toBe(3)
    expect(tries).toBe(3)
  })

  test('is not waited for any longer when the run is stopped, and can be asked again later', async () => {
    let isBack = false
    const open = async (): Promise<ReadingSource> => (isBack ? sourceOf([4, 4, 4]) : noOpen())
    const first = sourceOf([null, null])
    const meter = new SettledMeter(first, open, ACCURACY, { replugS: 60, everyS: 0.01 })
    const stopping = new AbortController()
    const reason = new Error('Ctrl-C')
    setTimeout(() => stopping.abort(reason), 50)
    await expect(meter.readAcVrms(stopping.signal)).rejects.toBe(reason)
    isBack = true
    expect(await meter.readAcVrms(never)).toBe(4)
  })

  test('again and again has a plug that does not sit, and ends with its line', async () => {
    let opened = 0
    const open = async (): Promise<ReadingSource> => {
      opened++
      return sourceOf([null])
    }
    const meter = new SettledMeter(sourceOf([null]), open, ACCURACY, QUICK)
    await expect(meter.readAcVrms(never)).rejects.toThrow('the meter was unplugged')
    expect(opened).toBe(5)
  })

  test('after it was closed is not waited for', async () => {
    const meter = new SettledMeter(sourceOf([null]), noOpen, ACCURACY, { replugS: 60 })
    await meter.close()
    await expect(meter.readAcVrms(never)).rejects.toThrow('the meter was unplugged')
  })
})
