import { readFileSync } from 'node:fs'
import { expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import { parseRig } from '../../src/rig/parse.js'
import type { Meter } from '../../src/rig/roles.js'
import { standbyStage } from '../../src/stages/standby.js'
import type { StageResult } from '../../src/verdict/stage-result.js'
import { sceneOf } from '../kit/stage.js'

const JOB = parseJob(readFileSync('captures/quillon/job.yaml', 'utf8'), 'job.yaml')
const RIG = parseRig(readFileSync('rigs/simulated.yaml', 'utf8'), 'rig.yaml')

const standby = (power = ''): Promise<StageResult> => standbyStage(sceneOf(JOB, RIG, `power: { ${power} }`).context)
const found = ({ findings }: StageResult): string[] => findings.map(({ verdict, title }) => `${verdict} ${title}`)
const figureIn = ({ checks, figures }: StageResult, name: string): { value: number; u: number } => {
  const figure = checks.find((check) => check.name === name)?.figure ?? figures.find((one) => one.quantity === name)
  return { value: figure!.value!, u: figure!.u! }
}

// Truth: the model's own: it wakes 0.8 s after ignition on, holds on for 45 s after locking, draws 0.4 mA asleep; 35 Ah over
// 20.4 mA are 71.49 days.
test('a healthy interface wakes, sleeps and draws what it should', async () => {
  const { context, told } = sceneOf(JOB, RIG)
  const result = await standbyStage(context)
  expect([result.verdict, found(result)]).toEqual(['pass', []])
  for (const [name, truth] of [
    ['remote turn-on, waking', 0.8],
    ['remote turn-on, falling asleep', 45],
    ['standby current', 0.0004],
    ['days until the battery is flat', 71.487],
  ] as const) {
    const { value, u } = figureIn(result, name)
    expect(Math.abs(value - truth), name).toBeLessThan(u)
  }
  // It played before, so it falls asleep first and wakes then.
  expect(told.filter((line) => line.startsWith('todo'))).toEqual([
    'todo standby.remote',
    'todo standby.sleep.ignition_off',
    'todo standby.sleep.doors_shut',
    'todo standby.sleep.lock',
    'todo standby.wake.unlock',
    'todo standby.wake.ignition_on',
    'todo standby.in-line',
    'todo standby.current.ignition_off',
    'todo standby.current.doors_shut',
    'todo standby.current.lock',
    'todo standby.bypass',
    'todo standby.end',
  ])
  const plot = result.plots.at(-1)!
  expect(plot.marks.map(({ says }) => says)).toEqual(['locked', 'remote off', 'asleep'])
  expect(plot.marks[2].x).toBeCloseTo(90, -1)
})

test.each([
  ['stays_awake: true', ['fail The interface does not fall asleep']],
  ['standby_a: 0.025', ['fail The interface draws too much asleep']],
  ['remote_hold_s: 240', ['fail The interface falls asleep late']],
  ['wake_delay_s: 9', ['fail The remote turn-on comes late']],
  ['never_wakes: true', ['fail The remote turn-on never comes']],
])('the fault %s is named, and nothing else', async (fault, expected) => {
  const result = await standby(fault)
  expect([result.verdict, found(result)]).toEqual(['fail', expected])
})

test('a gap of the meter and jumps of its range are said and change nothing', async () => {
  const result = await standby('meter_gap: { at_s: 130, duration_s: 20 }, ranging_jumps: 3')
  expect(result.verdict).toBe('pass')
  const { value, u } = figureIn(result, 'standby current')
  expect(Math.abs(value - 0.0004)).toBeLessThan(u)
  expect(result.notes.join('\n')).toMatch(/3 readings of the current left out/)
  expect(result.notes.join('\n')).toMatch(/No reading of the current from 1\d\d s to 1\d\d s/)
  expect(result.plots.at(-1)!.series[0].y).toContain(null)
})

// Truth: five counts of 10 mA taken as rectangular are 58 mA at k = 2, which holds no limit of 1 mA.
test('a range that is too coarse for the limit passes nothing', async () => {
  const { context, bench } = sceneOf(JOB, RIG)
  const readOnce: Meter['readOnce'] = async (quantity, signal) => {
    const reading = await bench.meter!.readOnce(quantity, signal)
    return quantity === 'dcAmps' ? { ...reading, value: Math.round(100 * reading.value) / 100 } : reading
  }
  const meter = { ...bench.meter!, readOnce }
  const result = await standbyStage({ ...context, bench: { ...bench, meter } })
  expect(figureIn(result, 'standby current').u).toBeCloseTo((2 * 0.05) / Math.sqrt(3), 6)
  expect(found(result)).toEqual(['unsure Standby current could not be told'])
  expect(result.findings[0].next).toContain('Read it again in a finer range')
})

test('a pass that was interrupted is begun anew, and one that ended is kept', async () => {
  const first = sceneOf(JOB, RIG)
  const ending = new AbortController()
  let readCount = 0
  const meter = {
    ...first.bench.meter!,
    readOnce: async (...[quantity, signal]: Parameters<Meter['readOnce']>) => {
      if (quantity === 'dcAmps' && ++readCount === 30) ending.abort(new Error('stopped'))
      return first.bench.meter!.readOnce(quantity, signal)
    },
  }
  const bench = { ...first.bench, meter }
  await expect(standbyStage({ ...first.context, bench, signal: ending.signal })).rejects.toThrow('stopped')
  const second = sceneOf(JOB, RIG, '{}', {}, first.kept)
  const result = await standbyStage(second.context)
  expect(second.told.find((line) => line.startsWith('todo'))).toBe('todo standby.in-line')
  expect(result.verdict).toBe('pass')
  expect(figureIn(result, 'remote turn-on, falling asleep').value).toBeCloseTo(45, 0)
})

test('a pass that is left out is unsure, and without limits or a meter it says what to add', async () => {
  const skipped = await standbyStage(sceneOf(JOB, RIG, '{}', { 'standby.in-line': ['skip'] }).context)
  expect([skipped.verdict, found(skipped)]).toEqual(['unsure', ['unsure Standby current could not be told']])
  await expect(standbyStage(sceneOf({ ...JOB, standby: null }, RIG).context)).rejects.toThrow(
    'Add "standby:" to the job',
  )
  await expect(standbyStage(sceneOf(JOB, { ...RIG, meter: null }).context)).rejects.toThrow('Add "meter:" to the rig')
})
