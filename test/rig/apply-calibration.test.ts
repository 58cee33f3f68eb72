import { describe, expect, test } from 'vitest'
import { applyCalibration } from '../../src/rig/apply-calibration.js'
import type { Calibration } from '../../src/rig/calibration.js'
import { daysBetween } from '../../src/rig/dates.js'
import { inputsInWords } from '../../src/rig/input-words.js'
import { fullScaleAtLead, type Rig } from '../../src/rig/rig.js'
import { CALIBRATION, RIG } from './sample-calibration.js'

const NOW = '2026-05-01T10:00:00Z'
const apply = (change: Partial<Calibration> = {}, rig: Rig = RIG, now = NOW, maxAgeDays = 365) =>
  applyCalibration(rig, { ...CALIBRATION, ...change }, now, maxAgeDays)
const said = (...given: Parameters<typeof apply>): string[] =>
  apply(...given).messages.map(({ kind, says }) => `${kind} | ${says}`)
/** With a lead whose wires are right: one message less to leave out of the others. */
const UPRIGHT: Partial<Calibration> = {
  looped: { ...CALIBRATION.looped!, inputs: CALIBRATION.looped!.inputs.map((one) => ({ ...one, polarity: 1 })) },
}

describe('a calibration that fits', () => {
  const { rig, messages } = apply(UPRIGHT)

  test('gives each input its volts at the lead, whatever pad is in front', () => {
    expect(rig.inputs.map(fullScaleAtLead)).toEqual([expect.closeTo(4.01, 9), expect.closeTo(4.11, 9)])
    // Closed form: 12 dB are a factor of 3.98107.
    expect(rig.inputs[1].fullScaleVrms).toBeCloseTo(4.11 / 3.98107, 5)
    expect(messages).toEqual([])
  })

  test('gives its uncertainty, with a budget that adds up to it at k = 2', () => {
    for (const { levelUncertaintyDb, levelBudget } of rig.inputs) {
      expect(levelUncertaintyDb).toBe(0.066)
      // 2 √(0.03² + 0.0004²) × 2.2 / 2 = 0.066.
      expect(2 * Math.hypot(...levelBudget!.map(({ u }) => u))).toBeCloseTo(0.066, 4)
    }
  })

  test('says when, and what the rig itself adds', () => {
    expect(rig.inputs[0].calibratedAt).toBe('2026-04-01T10:00:00Z')
    expect(rig.inputs[0].own).toMatchObject({
      floor: { noiseDbfs: -108.2, madeAt: '2026-04-01T10:00:00Z' },
      loop: { thd: [{ freqHz: 997, ratio: 1e-5 }], crosstalk: { fromInput: 2 } },
    })
    expect(rig.inputs[0].own!.floor).not.toHaveProperty('inputNumber')
  })

  test('says which lead turns the signal over', () => {
    expect(apply().messages).toEqual([
      {
        kind: 'note',
        inputs: [2],
        says: 'Input 2 turned the signal over in the loop-back: check its lead for exchanged wires.',
      },
    ])
  })
})

test('of another rig is not used', () => {
  const { rig, messages } = apply({ rigName: 'other bench' })
  expect(rig).toBe(RIG)
  expect(messages.map(({ says }) => says)).toEqual(['The calibration is of another rig, "other bench": not used.'])
})

test('that is older than allowed counts with the uncertainty of the rig file on top', () => {
  const { rig, messages } = apply(UPRIGHT, RIG, '2027-05-06T10:00:00Z')
  expect(rig.inputs.map(fullScaleAtLead)[0]).toBeCloseTo(4.01, 9)
  expect(rig.inputs[0].levelUncertaintyDb).toBeCloseTo(Math.hypot(0.066, 0.3), 9)
  expect(rig.inputs[0].levelBudget!.at(-1)).toEqual({ source: 'age of the calibration', u: 0.15 })
  expect(2 * Math.hypot(...rig.inputs[0].levelBudget!.map(({ u }) => u))).toBeCloseTo(Math.hypot(0.066, 0.3), 4)
  expect(messages.map(({ kind, says }) => `${kind} | ${says}`)).toEqual([
    "less sure | The volts were calibrated on 2026-04-01, 400 days ago; 365 are allowed: they count with the rig file's uncertainty on top. Calibrate again: linetrue rig calibrate.",
    "less sure | The rig's own noise was measured on 2026-04-01, 400 days ago; 365 are allowed: it may have changed. Measure it again: linetrue rig limits.",
    "less sure | The rig's own distortion and response were measured on 2026-04-01, 400 days ago; 365 are allowed: they may have changed. Measure them again: linetrue rig limits.",
  ])
  expect(said(UPRIGHT, RIG, '2027-04-01T10:00:00Z')).toEqual([])
})

test('that is still to come is not used', () => {
  const { rig, messages } = apply(UPRIGHT, RIG, '2026-03-01T10:00:00Z')
  expect(rig.inputs).toEqual(RIG.inputs)
  expect(messages[0].says).toBe(
    'The volts were calibrated on 2026-04-01, which is still to come: not used. Check the clock of this computer.',
  )
  // Two computers' clocks differ by a little.
  expect(said(UPRIGHT, RIG, '2026-04-01T09:30:00Z')).toEqual([])
})

test('of another card is not used', () => {
  const rig: Rig = { ...RIG, capture: { ...RIG.capture, device: 'other.in' } }
  expect(apply(UPRIGHT, rig).rig.inputs).toEqual(RIG.inputs)
  expect(said({ ...UPRIGHT, shorted: null, looped: null }, rig)).toEqual([
    'not used | The volts were calibrated with another card, driver pulse, device card.in; the rig file says driver pulse, device other.in: not used.',
  ])
})

test('made at another pad is not used on that input', () => {
  const rig: Rig = { ...RIG, inputs: [RIG.inputs[0], { ...RIG.inputs[1], padDb: 20 }] }
  const calibrated = apply(UPRIGHT, rig).rig.inputs
  expect(calibrated[0].calibratedAt).toBe('2026-04-01T10:00:00Z')
  expect(calibrated[1]).toEqual(rig.inputs[1])
  expect(said({ ...UPRIGHT, shorted: null, looped: null }, rig)).toEqual([
    'not used | The volts were calibrated on input 2 with a pad of 12 dB, the rig file says 20 dB: not used there. Calibrate again: linetrue rig calibrate.',
  ])
})

test('of fewer inputs leaves the others as the rig file says', () => {
  const rig: Rig = { ...RIG, inputs: [...RIG.inputs, RIG.inputs[0], RIG.inputs[0]] }
  expect(said({ ...UPRIGHT, shorted: null, looped: null }, rig)).toEqual([
    'not used | The volts were calibrated without inputs 3 and 4. Calibrate again: linetrue rig calibrate.',
  ])
})

test('made at another rate keeps its volts, less sure, and none of what the rig itself adds', () => {
  const rig: Rig = { ...RIG, capture: { ...RIG.capture, sampleRateHz: 96_000 } }
  const [input] = apply(UPRIGHT, rig).rig.inputs
  expect(fullScaleAtLead(input)).toBeCloseTo(4.01, 9)
  expect(input.levelBudget!.at(-1)).toEqual({ source: 'another sample rate', u: 0.15 })
  expect(input.own).toBeUndefined()
  expect(said(UPRIGHT, rig)).toEqual([
    "less sure | The volts were calibrated at 48 kHz and 24 bits, the rig file says 96 kHz and 24 bits: they count with the rig file's uncertainty on top. Calibrate again: linetrue rig calibrate.",
    "not used | The rig's own noise was measured at 48 kHz and 24 bits, the rig file says 96 kHz and 24 bits: not used. Measure it again: linetrue rig limits.",
    "not used | The rig's own distortion and response were measured at 48 kHz and 24 bits, the rig file says 96 kHz and 24 bits: not used. Measure them again: linetrue rig limits.",
  ])
})

test('made with other bits keeps its volts as they are', () => {
  const rig: Rig = { ...RIG, capture: { ...RIG.capture, bits: 16 } }
  const { inputs } = apply(UPRIGHT, rig).rig
  expect(inputs[0].levelUncertaintyDb).toBe(0.066)
  expect(inputs[0].own).toBeUndefined()
})

// Truth: the Gregorian calendar; 2028 is a leap year, 2100 is none.
test.each([
  ['2026-01-01T00:00:00Z', '2026-01-02T12:00:00Z', 1.5],
  ['2028-02-28T00:00:00Z', '2028-03-01T00:00:00Z', 2],
  ['2100-02-28T00:00:00Z', '2100-03-01T00:00:00Z', 1],
  ['2026-03-01T00:00:00Z', '2025-03-01T00:00:00Z', -365],
  ['2000-01-01T00:00:00Z', '2026-11-25T00:00:00Z', 9825],
])('from %s to %s are %d days', (from, to, days) => {
  expect(daysBetween(from, to)).toBeCloseTo(days, 9)
  expect(daysBetween(from, to)).toBeCloseTo((Date.parse(to) - Date.parse(from)) / 86_400_000, 9)
})

test('a date in other words is a fault of the caller', () => {
  expect(() => daysBetween('2026-01-01', '2026-01-02T00:00:00Z')).toThrow('want 2026-04-01T14:30:00Z')
})

test.each([
  [[3], 'input 3'],
  [[1, 2], 'inputs 1 and 2'],
  [[4, 1, 2, 3, 7], 'inputs 1 to 4 and 7'],
  [[1, 3, 5, 6], 'inputs 1, 3, 5 and 6'],
])('inputs %j are said as %s', (numbers, words) => {
  expect(inputsInWords(numbers)).toBe(words)
})
