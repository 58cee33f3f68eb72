import { expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import { stopOf } from '../document/stop-of.js'

const JOB = `name: small
vehicle: { model: Quillon }
volume_step: 30
outputs:
  - { number: 1, label: left, left: 1, right: 0, level_vrms: 2 }
  - { number: 2, label: right, left: 0, right: 1, level_vrms: 2 }
`
const parse = (lines = '') => parseJob(JOB + lines, 'job.yaml')
const amplifier = (fields: string): string => `amplifiers:\n  - { name: a, outputs: [1], ${fields} }\n`

test('amplifiers, gains and flat have defaults of common practice', () => {
  const { amplifiers, gains, flat } = parse(amplifier('rated_w: 75, load_ohm: 4'))
  expect(amplifiers).toEqual([
    {
      name: 'a',
      outputs: [1],
      ratedW: 75,
      loadOhm: 4,
      sensitivityVrms: null,
      overlapDb: 0,
      isBridged: false,
      isLoaded: false,
    },
  ])
  expect(gains).toEqual({ volumeSteps: [], volumeMin: null, thdPctMax: null, toleranceDb: 0.5, terminalInput: null })
  expect(flat).toEqual({ outputs: [1, 2], sums: [], toleranceDb: null, fromHz: 30, toHz: 16_000 })
})

test.each([
  ['no power', amplifier('rated_w: 0, load_ohm: 4'), 'rated_w is 0'],
  ['power that no supply gives', amplifier('rated_w: 10000, load_ohm: 4'), '10000 W into 4 Ω would be 200 V'],
  ['a load that is none', amplifier('rated_w: 75, load_ohm: 0.1'), 'load_ohm is 0.1'],
  ['an overlap of another size', amplifier('rated_w: 75, load_ohm: 4, overlap_db: -3'), 'overlap_db is -3'],
  [
    'a gain range that is turned round',
    amplifier('rated_w: 75, load_ohm: 4, sensitivity_vrms: { min: 4, max: 0.2 }'),
    'min is 4, not below max 0.2',
  ],
  [
    'an output that the map lacks',
    'amplifiers:\n  - { name: a, outputs: [7], rated_w: 75, load_ohm: 4 }\n',
    'the map has no output 7',
  ],
  [
    'volumes without a top that is asked for',
    'gains: { volume_steps: [28], volume_min: 34 }\n',
    'volume_min 34 is above all volumes',
  ],
  ['a sum that is not there', 'flat: { sums: [front] }\n', 'the job has no sum "front"'],
  [
    'a range under an octave',
    'flat: { from_hz: 1000, to_hz: 1500 }\n',
    'from_hz 1000 to to_hz 1500 is less than an octave',
  ],
])('%s is refused with its line', (_, lines, says) => {
  const { message } = stopOf(() => parse(lines))
  expect(message).toContain(says)
  expect(message).toMatch(/job\.yaml:[78],/)
})
