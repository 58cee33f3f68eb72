import { readFileSync } from 'node:fs'
import { expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import { parseRig } from '../../src/rig/parse.js'
import type { MeterQuantity } from '../../src/rig/roles.js'
import { pinsStage, stopsOf } from '../../src/stages/pins.js'
import type { StageContext } from '../../src/stages/stage.js'
import { StopError } from '../../src/units/stop.js'
import { type Scene, type Script, sceneOf } from '../kit/stage.js'

const DEMO = readFileSync('captures/quillon/job.yaml', 'utf8')
const JOB = parseJob(DEMO, 'job.yaml')
const RIG = parseRig(readFileSync('rigs/simulated.yaml', 'utf8'), 'rig.yaml')

const found = async (faults: string, script: Script = {}): Promise<string[]> => {
  const { findings } = await pinsStage(sceneOf(JOB, RIG, faults, script).context)
  return findings.map(({ verdict, title }) => `${verdict} ${title}`)
}

/** A scene whose meter does as told first, on some readings. */
function withMeter(scene: Scene, change: (quantity: MeterQuantity) => void): StageContext {
  const { meter } = scene.bench
  const read = async (quantity: MeterQuantity, signal: AbortSignal) => {
    change(quantity)
    return meter!.read(quantity, signal)
  }
  return { ...scene.context, bench: { ...scene.bench, meter: { ...meter!, read } } }
}

test('a healthy harness is as its table says, in the fewest changes of the ignition', async () => {
  const { context, told } = sceneOf(JOB, RIG)
  const result = await pinsStage(context)
  expect(result.verdict).toBe('pass')
  expect(result.summary).toBe('All 11 pins are as the table says.')
  expect(result.findings).toEqual([])
  expect(told.filter((line) => line.startsWith('todo pins.ignition'))).toEqual([
    'todo pins.ignition-off',
    'todo pins.ignition-accessory',
    'todo pins.ignition-on',
  ])
  const todos = told.filter((line) => line.startsWith('todo'))
  expect(todos.slice(1, 4)).toEqual(['todo pins.C1-5.across', 'todo pins.C1-2.off', 'todo pins.C2-1.off'])
  expect(told).toContain('say PASS  C1-2, drop under load, ignition on: 0.06 V (within ± 0.10 V)')
})

test('no lead goes to a restraint circuit', async () => {
  const { context, told } = sceneOf(JOB, RIG)
  const { tables, notes } = await pinsStage(context)
  expect(told.filter((line) => line.startsWith('todo pins.C2-4'))).toEqual([])
  expect(
    stopsOf(JOB.pins).some(
      ({ spec, readings }) => spec.isLeftAlone || readings.some((one) => one.across?.connector === 'C2'),
    ),
  ).toBe(false)
  expect(tables[0].rows.at(-1)).toEqual({
    cells: ['C2-4', 'restraint: side airbag passes through', 'YE (yellow)', '–', '–', 'left alone'],
    verdict: null,
  })
  expect(notes).toContain('Left alone, as restraint circuits: C2-4.')
})

// Truth: 120 Ω terminators in parallel: one 120, two 60, three 40 (Ohm's law).
test.each([
  ['C1-5: { terminators: 1 }', ['fail Pin C1-5 (data high, GN): one terminator is missing']],
  ['C1-5: { terminators: 3 }', ['fail Pin C1-5 (data high, GN): three terminators']],
  ['C1-5: { ohms: 0 }', ['fail Pin C1-5 (data high, GN): shorted to C1-6']],
  ['C1-5: { swapped_with: C1-6 }', ['fail Data high and data low of bus data seem swapped']],
  ['C1-1: { swapped_with: C1-2 }', ['fail Pins C1-1 (constant supply, RD) and C1-2 (ground, BK) seem swapped']],
  ['C1-3: { swapped_with: C1-4 }', ['fail Pins C1-3 (accessory, VT) and C1-4 (ignition, GYRD) seem swapped']],
  ['C1-1: { open: true }', ['fail Pin C1-1 (constant supply, RD): no supply']],
  ['C1-1: { volts: 9.2 }', ['fail Pin C1-1 (constant supply, RD): supply low']],
  ['C1-2: { open: true }', ['fail Pin C1-2 (ground, BK): no ground']],
  ['C1-2: { ohms: 2 }', ['fail Pin C1-2 (ground, BK): poor ground']],
  ['C1-4: { short_to: supply }', ['fail Pin C1-4 (ignition, GYRD): ignition is there when it should be off']],
  ['C2-1: { short_to: ground }', ['fail Pin C2-1 (speaker, WHBK): shorted to ground']],
  ['C2-3: { short_to: supply }', ['fail Pin C2-3 (line output, PK): volts on a signal wire']],
  ['C1-8: { short_to: supply }', ['fail Pin C1-8 (not connected): something is connected']],
])('the fault %s is named, and nothing else', async (fault, expected) => {
  expect(await found(`pins: { ${fault} }`)).toEqual(expected)
})

test('two wires at rest cannot be told apart, and that is said', async () => {
  const { notes, verdict } = await pinsStage(
    sceneOf(JOB, RIG, 'pins: { C1-5: { volts: 2.5 }, C1-6: { volts: 2.5 } }').context,
  )
  expect(verdict).toBe('pass')
  expect(notes.join()).toContain('Both are at their recessive level, so swapped wires would read the same: not told.')
})

test('ohms are never read where volts are', async () => {
  const scene = sceneOf(JOB, RIG, 'pins: { C2-1: { short_to: supply }, C1-2: { short_to: supply } }')
  const asked: string[] = []
  const context = withMeter(scene, (quantity) => asked.push(quantity))
  const { checks } = await pinsStage(context)
  const healthy: string[] = []
  await pinsStage(withMeter(sceneOf(JOB, RIG), (quantity) => healthy.push(quantity)))
  const ohms = (all: readonly string[]): number => all.filter((quantity) => quantity === 'ohms').length
  expect(ohms(asked)).toBe(ohms(healthy) - 2)
  expect(checks.find(({ name }) => name === 'pin C1-2, ohms, ignition off')?.measured).toBe('not read: 12.6 V there')
})

test('a person steps back, leaves a pin out, and puts a wrong meter right', async () => {
  const scene = sceneOf(JOB, RIG, '{}', { 'pins.C2-1.off': ['back'], 'pins.C1-7.on': ['skip'] })
  let isWrong = true
  const context = withMeter(scene, (quantity) => {
    if (quantity !== 'ohms' || !isWrong) return
    isWrong = false
    throw new StopError('the meter is on DC volts, and ohms are wanted', 'meter', 'Set it to ohms.', 'instrument')
  })
  const result = await pinsStage({ ...context, guide: { ...context.guide, isAttended: true } })
  expect(scene.told).toContain('todo pins.C1-5.across.again')
  expect(scene.told.filter((line) => line === 'todo pins.C1-2.off')).toHaveLength(2)
  expect(result.findings.map(({ verdict, title }) => `${verdict} ${title}`)).toEqual([
    'unsure Pin C1-7 (remote turn-on, BUWH): not read',
  ])
  expect(result.verdict).toBe('unsure')
})

test('a meter whose knob a person turns is turned before each change', async () => {
  const { context, told } = sceneOf(JOB, { ...RIG, meter: { ...RIG.meter!, driver: 'lines' } })
  await pinsStage(context)
  expect(told.filter((line) => line.startsWith('todo')).slice(1, 6)).toEqual([
    'todo pins.C1-5.across',
    'todo pins.C1-5.across.dial',
    'todo pins.C1-5.across.dial',
    'todo pins.C1-2.off',
    'todo pins.C1-2.off.dial',
  ])
})

test('a walk that was interrupted goes on at the pin where it was', async () => {
  const first = sceneOf(JOB, RIG)
  const ending = new AbortController()
  const guide = {
    ...first.context.guide,
    todo: async (...args: Parameters<typeof first.context.guide.todo>) => {
      if (args[0].name === 'pins.C1-7.on') ending.abort(new Error('stopped'))
      return first.context.guide.todo(...args)
    },
  }
  await expect(pinsStage({ ...first.context, guide, signal: ending.signal })).rejects.toThrow('stopped')
  const second = sceneOf(JOB, RIG, '{}', {}, first.kept)
  const { verdict } = await pinsStage(second.context)
  expect(verdict).toBe('pass')
  expect(second.told.filter((line) => line.startsWith('todo')).slice(0, 2)).toEqual([
    'todo pins.ignition-on',
    'todo pins.C1-7.on',
  ])
})

test('without pins or without a meter it says what to add', async () => {
  const noPins = { ...JOB, pins: [] }
  await expect(pinsStage(sceneOf(noPins, RIG).context)).rejects.toThrow('Add "pins:" to the job file')
  await expect(pinsStage(sceneOf(JOB, { ...RIG, meter: null }).context)).rejects.toThrow('Add "meter:" to the rig file')
  expect(() => sceneOf(JOB, RIG, 'pins: { C9-1: { open: true } }')).toThrow('the job has no pin C9-1')
})
