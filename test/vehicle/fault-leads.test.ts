import { describe, expect, test } from 'vitest'
import { planPatches } from '../../src/stimulus/plan.js'
import { simulatedBench } from '../../src/vehicle/bench.js'
import { putOn } from '../../src/vehicle/fault-leads.js'
import { parseFaults } from '../../src/vehicle/faults.js'
import { stopOf } from '../document/stop-of.js'
import { jobOf, rigOf } from './scene.js'

const JOB = jobOf(
  '{ number: 1, label: a, left: 1, right: 0, level_vrms: 1 }',
  '{ number: 2, label: b, left: 0, right: 1, level_vrms: 1 }',
)
const parse = (text: string) => parseFaults(text, 'faults.yaml')

describe('leads that are put wrong', () => {
  test('go where the file says, or nowhere, as often as it says', () => {
    const { leads } = parse('leads: { put: { 1: 2, 2: 0 }, times: 2 }')
    expect([1, 2, 3].map((asked) => [putOn(leads, 1, asked), putOn(leads, 2, asked), putOn(leads, 3, asked)])).toEqual([
      [2, null, 3],
      [2, null, 3],
      [1, 2, 3],
    ])
    expect(putOn(parse('leads: { put: { 1: 2 } }').leads, 1, 99)).toBe(2)
    expect(putOn(null, 1, 1)).toBe(1)
  })

  test.each([
    ['leads: { put: { 1: 2, 3: 2 } }', /two leads are put on output 2.*Put each lead on another output\./],
    ['leads: { put: { left: 2 } }', /the number of an output, 1 to 99/],
  ])('%s is refused', (text, message) => {
    expect(stopOf(() => parse(text)).message).toMatch(message)
  })

  test('on an output that the job does not have are refused', () => {
    const rig = rigOf(2)
    const open = (): unknown => simulatedBench(JOB, rig, parse('leads: { put: { 1: 7 } }'), planPatches(JOB, rig))
    expect(stopOf(open).message).toBe(
      'the job has no output 7 (faults.yaml, leads.put). Name one of its outputs: 1, 2.',
    )
  })
})
