/** The stage with the engine running on the simulated bench. What whines and what the supply does is the model's, by faults file. */
import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import type { Job } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'
import { parseRig } from '../../src/rig/parse.js'
import type { Rig } from '../../src/rig/rig.js'
import { engineStage } from '../../src/stages/engine.js'
import { type Script, sceneOf } from '../kit/stage.js'

const read = (path: string): string => readFileSync(new URL(`../../${path}`, import.meta.url), 'utf8')
/** Three outputs of the demo on a card of three inputs: there is less to compute. */
const WHOLE = parseJob(read('captures/quillon/job.yaml'), 'job.yaml')
const JOB: Job = { ...WHOLE, sums: [], outputs: WHOLE.outputs.filter(({ number }) => [5, 6, 7].includes(number)) }
const rigOf = (count: number): Rig => {
  const rig = parseRig(read('rigs/simulated.yaml'), 'rig.yaml')
  return { ...rig, inputs: rig.inputs.slice(0, count) }
}
const RIG = rigOf(3)
const sceneWith = (faults = '{}', script: Script = {}, rig = RIG, kept = new Map()) =>
  sceneOf(JOB, rig, faults, script, kept)

const WHINE = 'whine: { freq_hz: 1200, at_rpm: 800, level_dbv: -62, harmonic_count: 3 }'
/** What belongs to another stage: it is there with the engine stopped, too. */
const OTHERS =
  'outputs: { 5: { hum: { freq_hz: 60, level_dbv: -60 }, noise_dbv: -70 }, 6: { whistle: { freq_hz: 1200, level_dbv: -70 }, auto_mute: { below_dbfs: -80, after_s: 0.5 } }, 7: { dead: true } }'

describe('a healthy engine', () => {
  test('leaves outputs alone that hum, hiss, whistle, mute themselves or are dead; the caution comes first', async () => {
    const scene = sceneWith(OTHERS)
    const result = await engineStage(scene.context)
    expect(result.findings).toEqual([])
    expect(result.verdict).toBe('pass')
    expect(result.summary).toBe('3 outputs stay quiet with the engine running, and the supply is as it should be.')
    expect(scene.told).toEqual([
      // Its words begin with the caution.
      'todo engine.outdoors',
      'todo engine.off',
      'todo engine.meter',
      'value engine.idle',
      'value engine.2000 rpm',
      'todo engine.stop',
    ])
    expect(result.takes.map(({ what }) => what)).toEqual(['engine off', 'engine idle', 'engine 2000 rpm'])
    // The model: 14.2 V with 0.03 V rms on it; the meter is off by a third of 0.5 % and 2 mV at most, and the shape of the
    // ripple may make 2.83 to 3.69 of its rms.
    const value = (name: string) => result.figures.find(({ quantity }) => quantity === name)!.value!
    expect(Math.abs(value('supply at idle') - 14.2)).toBeLessThan(14.2 * 0.005 + 0.002)
    expect(value('ripple at idle, peak to peak')).toBeGreaterThan(2.82 * 0.029)
    expect(value('ripple at idle, peak to peak')).toBeLessThan(3.69 * 0.031)
  })
})

describe('an engine that is heard', () => {
  test('on one output: the whine is followed from speed to speed, and counted by turns of the engine', async () => {
    // The tachometer shows 10 more than the model's hands hold at most: the second speed is answered, not taken as asked.
    const scene = sceneWith(`engine: { ${WHINE}, outputs: [7] }`, { 'engine.2000 rpm': ['2100'] })
    const { findings, checks, tables, verdict } = await engineStage(scene.context)
    expect(verdict).toBe('fail')
    expect(findings.map(({ kind, outputs, title }) => ({ kind, outputs, title }))).toEqual([
      { kind: 'whining', outputs: [7], title: 'Output 7 centre whines with the engine running' },
    ])
    // 1200 Hz at 800 turns a minute: 90 for each turn (references: 6 pole pairs, pulleys 1:2.5, six pulses).
    expect(findings[0].because).toMatch(/90 periods for each turn: the six pulses of an alternator\.$/)
    expect(findings[0].next).toMatch(/^It comes in on these leads alone/)
    const row = tables[1].rows[2].cells
    expect(row[0]).toBe('7 centre')
    expect(row[3]).toMatch(/^−62\.\d dBV, 1\.2 kHz$/)
    expect(row[5]).toMatch(/^−62\.\d dBV, 3\.15 kHz$/)
    expect(row[6]).toBe('yes')
    const off = checks.filter(({ verdict: one }) => one !== 'pass').map(({ name }) => name)
    expect(off).toEqual(['whine, output 7 centre', 'noise with the engine, output 7 centre'])
  })

  test('on all outputs and with a rippling supply that is too low names diodes, charge and ground', async () => {
    const scene = sceneWith(`engine: { ${WHINE.replace('1200', '200')}, ripple_vrms: 0.9, charging_v: 12.4 }`)
    const { findings, tables } = await engineStage(scene.context)
    expect(findings.map(({ title }) => title)).toEqual([
      'The supply is too low with the engine running',
      'The supply has too much ripple with the engine running',
      'Nearly all outputs whine with the engine running',
    ])
    expect(findings[1].next).toMatch(/diodes checked/)
    // 200 Hz at 800 turns a minute: 15 for each turn, the electrical frequency itself.
    expect(findings[2].because).toMatch(/15 periods for each turn: an alternator with a diode open would do that\.$/)
    expect(tables[0].rows.map(({ verdict }) => verdict)).toEqual(['fail', 'fail'])
  })
})

test('a step back takes the step before again under another name', async () => {
  const scene = sceneWith('{}', { 'engine.2000 rpm': ['back'] })
  const { takes } = await engineStage(scene.context)
  expect(scene.told.filter((line) => line.startsWith('value'))).toEqual([
    'value engine.idle',
    'value engine.2000 rpm',
    'value engine.idle',
    'value engine.2000 rpm',
  ])
  expect(takes.map(({ what }) => what)).toEqual(['engine off', 'engine idle, number 2', 'engine 2000 rpm'])
})

test('a run that breaks off says to stop the engine, and goes on later where it was', async () => {
  const kept = new Map()
  const scene = sceneWith(`engine: { ${WHINE}, outputs: [7] }`, {}, RIG, kept)
  const read = scene.bench.meter!.read
  scene.bench.meter!.read = async () => {
    throw new Error('unplugged')
  }
  await expect(engineStage(scene.context)).rejects.toThrow('unplugged')
  expect(scene.told.at(-1)).toBe('say Stop the engine now.')
  scene.bench.meter!.read = read
  const again = sceneWith(`engine: { ${WHINE}, outputs: [7] }`, {}, RIG, kept)
  const { findings } = await engineStage(again.context)
  expect(again.told.filter((line) => !line.startsWith('say'))).toEqual([
    'todo engine.outdoors',
    'todo engine.meter',
    'value engine.idle',
    'value engine.2000 rpm',
    'todo engine.stop',
  ])
  expect(findings.map(({ kind }) => kind)).toEqual(['whining'])
})

test('a rig without a meter, and an engine that nobody watches, are refused in one line', async () => {
  await expect(engineStage(sceneWith('{}', {}, { ...RIG, meter: null }).context)).rejects.toThrow(
    'the supply is read by a meter, and the rig has none (rig "Simulated bench, twelve inputs"). Add meter: to the rig file, or leave engine out of the job\'s stages.',
  )
  const { context, bench } = sceneWith()
  const live = { ...context, bench: { ...bench, isSimulated: false } }
  await expect(engineStage(live)).rejects.toThrow('a running engine is never left alone')
})
