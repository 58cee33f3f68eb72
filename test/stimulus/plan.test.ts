import { describe, expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import { parseRig } from '../../src/rig/parse.js'
import type { Rig } from '../../src/rig/rig.js'
import { planPatches } from '../../src/stimulus/plan.js'
import { stopOf } from '../document/stop-of.js'

const jobWith = (numbers: readonly number[]) =>
  parseJob(
    `name: job\nvehicle: { model: Quillon }\noutputs:\n${numbers
      .map((number) => `  - { number: ${number}, label: o${number}, left: 1, right: 0, level_vrms: 1 }\n`)
      .join('')}`,
    'job.yaml',
  )
const rigWith = (inputCount: number, patches = ''): Rig =>
  parseRig(
    `name: bench
capture: { driver: simulated }
player: { driver: simulated }
inputs: { count: ${inputCount}, full_scale_vrms: 4, level_uncertainty_db: 0.1 }
${patches}
`,
    'rig.yaml',
  )
const summaryOf = (patches: ReturnType<typeof planPatches>): string[] =>
  patches.map(
    ({ name, leads }) => `${name}: ${leads.map((lead) => `${lead.inputNumber}<${lead.outputNumber}`).join(' ')}`,
  )

describe('without patches in the rig', () => {
  test('one patch holds all outputs when there are inputs enough, in the order of the map', () => {
    expect(summaryOf(planPatches(jobWith([3, 1, 2]), rigWith(12)))).toEqual(['patch 1: 1<3 2<1 3<2'])
  })

  test('outputs fill the inputs as often as it takes, and the last patch may be short', () => {
    expect(summaryOf(planPatches(jobWith([1, 2, 3, 4, 5]), rigWith(2)))).toEqual([
      'patch 1: 1<1 2<2',
      'patch 2: 1<3 2<4',
      'patch 3: 1<5',
    ])
    expect(planPatches(jobWith([1, 2, 3, 4]), rigWith(2))).toHaveLength(2)
  })
})

describe('the patches of the rig', () => {
  const two = 'patches: [{ name: front, leads: { 2: 1 } }, { name: rear, leads: { 1: 3, 2: 2 } }]'

  test('are used as they are when they hold every output once', () => {
    expect(summaryOf(planPatches(jobWith([1, 2, 3]), rigWith(2, two)))).toEqual(['front: 2<1', 'rear: 1<3 2<2'])
  })

  test('must leave out no output of the job', () => {
    expect(stopOf(() => planPatches(jobWith([1, 2, 3, 4, 5]), rigWith(2, two))).message).toBe(
      'no patch has outputs 4, 5 (rig "bench" with job "job"). ' +
        "Add the missing leads to the rig's patches, or leave patches out.",
    )
    expect(stopOf(() => planPatches(jobWith([1, 2, 3, 4]), rigWith(2, two))).what).toBe('no patch has output 4')
  })

  test('must hold no output that the job does not have', () => {
    expect(stopOf(() => planPatches(jobWith([1, 2]), rigWith(2, two))).message).toBe(
      'patch "rear" has a lead to output 3, which the job does not have (rig "bench" with job "job"). ' +
        "Use the outputs of the job in the rig's patches: 1, 2.",
    )
  })

  // A rig file cannot say these two; a rig made in code can.
  test('must hold no output twice', () => {
    const rig = rigWith(2, two)
    const twice = { ...rig, patches: [...rig.patches!, { name: 'more', leads: [{ inputNumber: 1, outputNumber: 1 }] }] }
    expect(stopOf(() => planPatches(jobWith([1, 2, 3]), twice)).what).toBe(
      'output 1 is in patch "front" and again in patch "more"',
    )
  })

  test('must put one lead on an input, and only on inputs that are there', () => {
    const leads = [1, 2].map((outputNumber) => ({ inputNumber: 2, outputNumber }))
    const rig = { ...rigWith(2), patches: [{ name: 'p', leads }] }
    const what = 'patch "p" puts a lead on input 2, which is taken or not there'
    expect(stopOf(() => planPatches(jobWith([1, 2]), rig)).what).toBe(what)
    expect(stopOf(() => planPatches(jobWith([1, 2]), { ...rig, inputs: rig.inputs.slice(0, 1) })).what).toBe(what)
  })
})
