/** The stage of the chimes on the simulated bench. What sounds where is the model's, by job and faults file. */
import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import type { Job } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'
import { parseRig } from '../../src/rig/parse.js'
import type { Rig } from '../../src/rig/rig.js'
import { chimesStage } from '../../src/stages/chimes.js'
import { type Script, sceneOf } from '../kit/stage.js'

const read = (path: string): string => readFileSync(new URL(`../../${path}`, import.meta.url), 'utf8')
/** The demo without its tweeters and subwoofers, on a card of as many inputs: there is less to compute. */
const HEARD = [3, 4, 5, 6, 7, 8]
const WHOLE = parseJob(read('captures/quillon/job.yaml'), 'job.yaml')
const DEMO: Job = { ...WHOLE, sums: [], outputs: WHOLE.outputs.filter(({ number }) => HEARD.includes(number)) }
const inputs = (count: number): Rig => {
  const rig = parseRig(read('rigs/simulated.yaml'), 'rig.yaml')
  return { ...rig, inputs: rig.inputs.slice(0, count) }
}
const RIG = inputs(HEARD.length)
const TWO = inputs(2)
const named = (...names: string[]): Job => ({ ...DEMO, chimes: DEMO.chimes.filter(({ name }) => names.includes(name)) })

const run = async (faults = '{}', script: Script = {}, job = DEMO, rig: Rig = RIG, kept = new Map()) => {
  const scene = sceneOf(job, rig, faults, script, kept)
  return { result: await chimesStage(scene.context), ...scene }
}

describe('chimes of a healthy vehicle', () => {
  test('come from where they should, one after the other, though an output hums and another whistles', async () => {
    const { result, told } = await run(
      'outputs: { 3: { hum: { freq_hz: 60, level_dbv: -50 } }, 8: { whistle: { freq_hz: 800, level_dbv: -60 } } }',
    )
    expect(result.summary).toBe('5 of 5 chimes come from where they should.')
    expect(result.findings).toEqual([])
    expect(result.verdict).toBe('pass')
    expect(result.tables[0].rows.map(({ cells }) => cells.slice(0, 2))).toEqual([
      ['turn signal', '3'],
      ['park distance front', '3 and 4'],
      ['park distance rear', '5 and 6'],
      ['seat belt', '3 and 4'],
      ['telephone call', '3, 4 and 7'],
    ])
    expect(result.takes.map(({ what }) => what)).toContain('chime seat belt')
    expect(told.filter((line) => line.startsWith('todo'))).toHaveLength(5)
    // The model: six bursts of 0.16 s with edges of 8 ms (half height counts), one every 0.32 s; 26 dB under the 2 V of output 3, less what its Linkwitz-Riley slope at
    // 3 kHz takes, 1 + (f / 3 kHz)^4.
    const figure = (name: string) => result.figures.find(({ quantity }) => quantity === `turn signal: ${name}`)!
    const slope = 1 + (figure('frequency').value! / 3000) ** 4
    for (const [name, truth] of [
      ['level', 20 * Math.log10(2 / slope) - 26],
      ['length', 5 * 0.32 + 0.16 - 0.008],
      ['repetition', 1 / 0.32],
    ] as const) {
      expect(Math.abs(figure(name).value! - truth), name).toBeLessThan(figure(name).u!)
    }
  })
})

describe('a chime that is wrong', () => {
  test('by never coming is waited for, marked as not heard, and the next one is asked for', async () => {
    const job = named('seat belt', 'telephone call')
    const chimes = job.chimes.map((chime) => ({ ...chime, waitS: 8 }))
    const { result, told, bench } = await run('chimes: { seat belt: { silent: true } }', {}, { ...job, chimes })
    expect(result.findings.map(({ title }) => title)).toEqual(['seat belt was not heard'])
    expect(result.findings[0].because).toBe(
      'Within 8 s nothing stood out of the noise. It should come from outputs 3 front left low and 4 front right low.',
    )
    expect(result.summary).toBe('1 of 2 chimes come from where they should; wrong: seat belt.')
    expect(told).toContain('say seat belt was not heard within 8 s.')
    expect(told).toContain('say Heard telephone call.')
    // The model's clock: two listenings after 1.8 s each, of which one lasted its whole time.
    expect(bench.clock.nowS() - 1000).toBeGreaterThan(8 + 2 * 1.8)
  })

  test('by coming from elsewhere, or from elsewhere too, names both places', async () => {
    const job = named('turn signal', 'park distance rear', 'park distance front')
    const { result } = await run(
      'chimes: { turn signal: { outputs: [5] }, park distance rear: { outputs: [5, 6, 8] }, park distance front: { outputs: [3] } }',
      {},
      job,
    )
    expect(result.findings.map(({ title }) => title)).toEqual([
      'turn signal comes from output 5 rear left in place of output 3 front left low',
      'park distance front is missing from output 4 front right low',
      'park distance rear also comes from output 8 rear fill',
    ])
    expect(result.verdict).toBe('fail')
  })
})

test('a person skips what the vehicle has not, steps back to one that was done, and each take has its own name', async () => {
  const job = named('turn signal', 'park distance front', 'seat belt')
  const script = { 'chimes.park distance front': ['back', 'skip'], 'chimes.seat belt': [] }
  const { result, told } = await run('{}', script, job)
  expect(told.filter((line) => line.startsWith('todo'))).toEqual([
    'todo chimes.turn signal',
    'todo chimes.park distance front',
    'todo chimes.turn signal',
    'todo chimes.park distance front',
    'todo chimes.seat belt',
  ])
  expect(result.takes.map(({ what }) => what)).toEqual(['chime turn signal, number 2', 'chime seat belt'])
  expect(result.tables[0].rows[1]).toEqual({
    cells: ['park distance front', 'left out', '–', '–', '–', '–', '–'],
    verdict: null,
  })
  expect(result.notes).toContain('Left out by the person at the bench: park distance front.')
})

test('a stage that was stopped goes on with the chime that is left', async () => {
  const kept = new Map()
  await run('{}', {}, named('turn signal'), RIG, kept)
  const { result, told } = await run('{}', {}, named('turn signal', 'seat belt'), RIG, kept)
  expect(told.filter((line) => line.startsWith('todo'))).toEqual(['todo chimes.seat belt'])
  expect(result.summary).toBe('2 of 2 chimes come from where they should.')
})

test('with two inputs a chime sounds once for each hook-up that holds some of its outputs', async () => {
  const { result } = await run('{}', {}, named('telephone call'), TWO)
  expect(result.verdict).toBe('pass')
  expect(result.tables[0].rows.map(({ cells }) => cells[1])).toEqual(['3 and 4', '7'])
  expect(result.notes.at(-1)).toMatch(/^telephone call: outputs .* were in other hook-ups and not listened to\.$/)
})

test('a job without chimes is told what to add', async () => {
  await expect(run('{}', {}, { ...DEMO, chimes: [] })).rejects.toThrow(
    'the job names no chimes (job "Quillon estate, ten outputs"). Add chimes: with a name and outputs for each, or leave chimes out of the job\'s stages.',
  )
})
