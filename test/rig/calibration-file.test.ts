import { Ajv } from 'ajv'
import { describe, expect, test } from 'vitest'
import { parse } from 'yaml'
import { jsonSchemaOf } from '../../src/document/json-schema.js'
import { emptyCalibration } from '../../src/rig/calibration.js'
import { calibrationText, parseCalibration } from '../../src/rig/calibration-file.js'
import { CalibrationFile } from '../../src/rig/calibration-schema.js'
import { stopOf } from '../document/stop-of.js'
import { CALIBRATION } from './sample-calibration.js'

const TEXT = calibrationText(CALIBRATION)
const rounded = (value: unknown): unknown =>
  JSON.parse(JSON.stringify(value, (_, one) => (typeof one === 'number' ? one.toPrecision(12) : one)))
const messageOf = (text: string): string => stopOf(() => parseCalibration(text, 'bench.calibration.yaml')).message

describe('a calibration', () => {
  test('comes back from its file as it went in', () => {
    const again = parseCalibration(TEXT, 'file')
    expect(calibrationText(again)).toBe(TEXT)
    // Ratios stand in per cent and delays in microseconds: the last bits of a number may differ.
    expect(rounded(again)).toEqual(rounded(CALIBRATION))
  })

  test('with nothing in it comes back with nothing', () => {
    const empty = emptyCalibration('bench')
    expect(parseCalibration(calibrationText(empty), 'file')).toEqual(empty)
  })

  test('fits the schema that is published for editors', () => {
    const validate = new Ajv({ strict: false }).compile(jsonSchemaOf(CalibrationFile, 'Calibration'))
    expect(validate(parse(TEXT)), JSON.stringify(validate.errors)).toBe(true)
  })

  test('keeps rows of numbers on one line each', () => {
    expect(TEXT).toContain('        - { source: meter specification, u_db: 0.03 }\n')
    expect(TEXT).not.toContain('-0 ')
  })

  test('has a sentence for each field', () => {
    const schema = JSON.stringify(jsonSchemaOf(CalibrationFile, 'Calibration'))
    for (const says of ['linetrue rig calibrate', 'linetrue rig limits', 'Expanded uncertainty']) {
      expect(schema).toContain(says)
    }
  })
})

// Each problem is one line: what, where, what to do.
test.each([
  ['rig: [', 'a bracket is not closed'],
  ['rig: bench\nvolts: 3', 'volts is 3'],
  [TEXT.replace('2026-04-01T10:00:00Z', 'yesterday'), 'bench.calibration.yaml:5, volts.made_at'],
  [TEXT.replace('full_scale_vrms: 4.01', 'full_scale_vrms: four'), 'volts.inputs[1].full_scale_vrms'],
  [TEXT.replace('pad_db: 0\n', 'pad: 0\n'), 'Did you mean "pad_db"?'],
  [TEXT.replace('- input: 2', '- input: 1'), 'input 1 is given twice'],
])('what is broken in it is said in one line: %#', (text, says) => {
  const message = messageOf(text)
  expect(message).toContain(says)
  expect(message).toContain('bench.calibration.yaml')
  expect(message).not.toContain('\n')
})
