import { describe, expect, test } from 'vitest'
import { assignRecordings } from '../../src/cli/recordings.js'
import type { Job } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'
import type { PatchSpec } from '../../src/rig/rig.js'
import { stopOf } from '../document/stop-of.js'

const PATCHES: readonly PatchSpec[] = [
  { name: 'front', leads: [{ inputNumber: 1, outputNumber: 1 }] },
  { name: 'rear high', leads: [{ inputNumber: 1, outputNumber: 2 }] },
]
const jobWith = (top: string): Job =>
  parseJob(
    `${top}
name: test
vehicle: { model: test }
outputs:
  - { number: 1, label: front, left: 1, right: 0, level_vrms: 1, fader: front }
  - { number: 2, label: rear, left: 1, right: 0, level_vrms: 1, fader: rear }
`,
    'job.yaml',
  )
const PLAIN = jobWith('')
const EXTRA = jobWith('volume_step: 30\nextra_takes: [engine_running, fader_front, volume_20]')

const assigned = (given: readonly string[], job: Job): string[] =>
  assignRecordings(given, PATCHES, job).map(({ patch, setting, path }) => `${patch.name} ${setting} ${path}`)
const messageOf = (given: readonly string[], job: Job): string =>
  stopOf(() => assignRecordings(given, PATCHES, job)).message

const KEYS = ['front', 'front@fader_front', 'front@volume_20', 'front@engine_running']
const ALL = [...KEYS, ...KEYS.map((key) => key.replace('front', 'rear high'))]

describe('recordings', () => {
  test('without names go to the patches in order', () => {
    expect(assigned(['a.wav', 'b.wav'], PLAIN)).toEqual(['front reference a.wav', 'rear high reference b.wav'])
  })

  test('without names go to the takes as a bench makes them: patch by patch, engine last', () => {
    expect(assigned(['1', '2', '3', '4', '5', '6', '7', '8'], EXTRA)).toEqual([
      'front reference 1',
      'front fader_front 2',
      'front volume_20 3',
      'front engine_running 4',
      'rear high reference 5',
      'rear high fader_front 6',
      'rear high volume_20 7',
      'rear high engine_running 8',
    ])
  })

  test('with names go where they say, in any order', () => {
    const given = ALL.map((key, index) => `${key}=${index + 1}.wav`).reverse()
    expect(assigned(given, EXTRA)).toEqual(
      assigned(
        ['1', '2', '3', '4', '5', '6', '7', '8'].map((n) => `${n}.wav`),
        EXTRA,
      ),
    )
  })

  test('of takes that the job does not ask for are refused with a hint at the job', () => {
    expect(messageOf(['front=a', 'front@volume_10=b'], EXTRA)).toBe(
      `there is no take "front@volume_10" (--recording). Use one of: ${ALL.join(', ')}; or ask for it in the job (extra_takes).`,
    )
    expect(messageOf(['front@engine_running=b'], PLAIN)).toContain('there is no take "front@engine_running"')
    expect(messageOf(['side=b'], PLAIN)).toBe('there is no patch "side" (--recording). Use one of: front, rear high.')
  })

  test('that are missing are named, with their outputs', () => {
    expect(
      messageOf(
        ALL.slice(0, 6).map((key) => `${key}=x.wav`),
        EXTRA,
      ),
    ).toBe(
      'no recording for rear high@volume_20 (output 2); rear high@engine_running (output 2) (--recording). ' +
        'Give --recording once for each patch, in this order, or as PATCH=FILE.',
    )
  })

  test('that are too many, or two for one take, are refused', () => {
    expect(messageOf(['a', 'b', 'c'], PLAIN)).toBe(
      '3 recordings for 2 takes (--recording). Give one for each of: front, rear high.',
    )
    expect(messageOf(['front@volume_20=a', 'front@volume_20=b'], EXTRA)).toBe(
      '"front@volume_20" has two recordings (--recording). Give one file for each patch.',
    )
    expect(messageOf(['front='], PLAIN)).toContain('"front=" names no file')
  })
})
