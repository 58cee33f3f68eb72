import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest'
import { jobNewCommand } from '../../src/cli/job-new.js'
import { jobSteps } from '../../src/cli/job-questions.js'
import { askAll } from '../../src/cli/questions.js'
import type { Job } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'

const GO_ON = new AbortController().signal

let folder: string
let said: string
const { isTTY } = process.stdin
beforeEach(() => {
  // Nobody is there to answer, wherever the tests run.
  process.stdin.isTTY = false
  folder = mkdtempSync(join(tmpdir(), 'linetrue-job-'))
  said = ''
  vi.spyOn(process.stdout, 'write').mockImplementation(() => true)
  vi.spyOn(process.stderr, 'write').mockImplementation((text) => {
    said += String(text)
    return true
  })
})
afterEach(() => {
  process.stdin.isTTY = isTTY
  vi.restoreAllMocks()
  rmSync(folder, { recursive: true })
})

const target = (): string => join(folder, 'job.yaml')
async function made(answers: string): Promise<Job> {
  writeFileSync(join(folder, 'answers.yaml'), answers)
  expect(await jobNewCommand({ path: target(), answers: join(folder, 'answers.yaml') }, GO_ON)).toBe(0)
  return parseJob(readFileSync(target(), 'utf8'), 'job.yaml')
}

describe('a new job', () => {
  test.each(Array.from({ length: 15 }, (_, k) => k + 2))('knows a usual layout of %d outputs', async (count) => {
    const job = await made(`output_count: ${count}\n`)
    expect(job.outputs).toHaveLength(count)
    expect(new Set(job.outputs.map(({ pair }) => pair).filter(Boolean)).size * 2).toBe(
      job.outputs.filter(({ pair }) => pair).length,
    )
    expect(readFileSync(target(), 'utf8')).toContain('common practice')
    // Each speaker place whose bands are split is one sum.
    expect(job.sums.flatMap(({ outputs }) => outputs).length).toBe(
      job.outputs.filter(({ crossover }) => crossover.shape === 'linkwitz_riley').length,
    )
  })

  test('holds every answer, whatever signs are in it', async () => {
    const job = await made(
      [
        'maker: "Velmora & Sons"',
        'model: "Tarn: #3 [x], {y} \'z\'"',
        'year: 2024',
        'vin: 123456a8xs1000001',
        'plate: "0042"',
        'platform: "yes"',
        'output_count: 2',
        'layout: single',
        'label_1: "- links"',
        'side_1: 3',
        'low_hz_1: 120',
        'high_hz_1: "7000"',
        'level_vrms_1: 0,8',
        'fader_1: rear',
        'pair_1: none',
        'pair_2: none',
        'source: bluetooth',
        'amplifier_count: 1',
        'amplifier_outputs_1: 2, 1',
        'amplifier_1: "sum #1"',
        'rated_w_1: 150',
        'load_ohm_1: 2',
        'stages: gains outputs',
        'rig: "../rigs/bay: 2.yaml"',
        'job_number: "17"',
        'technician: none',
      ].join('\n'),
    )
    expect(job).toMatchObject({
      name: "Velmora & Sons Tarn: #3 [x], {y} 'z' 2024",
      vehicle: {
        maker: 'Velmora & Sons',
        model: "Tarn: #3 [x], {y} 'z'",
        year: 2024,
        vin: '123456A8XS1000001',
        plate: '0042',
      },
      platform: 'yes',
      source: 'bluetooth',
      stages: ['outputs', 'gains'],
      rigPath: '../rigs/bay: 2.yaml',
      jobNumber: '17',
      technician: null,
      warnings: [],
    })
    expect(job.outputs[0]).toMatchObject({
      label: '- links',
      leftGain: 0.5,
      rightGain: 0.5,
      lowHz: 120,
      highHz: 7000,
      levelVrms: 0.8,
      faderGroup: 'rear',
      pair: null,
    })
    expect(job.outputs[1]).toMatchObject({ label: 'front right', leftGain: 0, rightGain: 1 })
    expect(job.amplifiers).toMatchObject([{ name: 'sum #1', outputs: [2, 1], ratedW: 150, loadOhm: 2 }])
  })

  test('may know nothing but how many outputs there are', async () => {
    const job = await made('output_count: 10\nlayout: unknown\n')
    expect(job.outputs.map(({ label }) => label).slice(-1)).toEqual(['output 10'])
    expect(readFileSync(target(), 'utf8')).toContain('# CHANGE: nothing is known of them')
  })

  test('says a wrong check digit of a VIN, and takes it', async () => {
    expect((await made('vin: 123456A80S1000001\n')).vehicle.vin).toBe('123456A80S1000001')
    expect(said).toContain('its check digit (position 9) is 0 and should be X')
  })

  test.each([
    ['vin: 123', 'vin: "123" won\'t do'],
    ['vin: 12345678901234567', null],
    ['year: 1800', 'Allowed: a whole number from 1950 to 2100.'],
    ['output_count: 33', 'Allowed: a whole number from 1 to 32.'],
    ['model: "a\\tb"', 'Allowed: one line of up to 80 characters.'],
    ['stages: brakes', 'Allowed: all, or some of pins, outputs'],
    ['{ output_count: 2, amplifier_count: 1, amplifier_outputs_1: 3 }', 'Allowed: up to 8 of 1, 2.'],
    [
      '{ output_count: 2, layout: single, low_hz_1: 500, high_hz_1: 400 }',
      'Allowed: above the lower corner of 500 Hz, or none.',
    ],
    ['{ output_count: 2, layout: single, label_2: front left }', '"front left" is given already'],
    ['{ output_count: 2, layout: single, low_hz_1: 500 }', 'the outputs of pair "front" have different bands'],
    ['colour: red', 'no question is named "colour" here'],
  ])('leaves no file behind for the answers %s', async (answers, says) => {
    if (says === null) return void (await made(answers))
    await expect(made(answers)).rejects.toThrow(says)
    expect(existsSync(target())).toBe(false)
  })

  test('is never written over a file, nor into a folder that is not there', async () => {
    writeFileSync(target(), 'mine')
    await expect(made('output_count: 2')).rejects.toThrow('there is such a file already, and it stays as it is')
    expect(readFileSync(target(), 'utf8')).toBe('mine')
    await expect(jobNewCommand({ path: join(folder, 'no', 'job.yaml') }, GO_ON)).rejects.toThrow(
      'the folder of this file is not there',
    )
  })

  test('steps back to an earlier answer, and asks anew what hung on it', async () => {
    const typed = ['Velmora', 'Tarn', '', '', '', '', '', '4', '<', '2', '3', '<', '1']
    const asked: string[] = []
    const answers = await askAll(
      jobSteps(null),
      {
        given: new Map(),
        givenWhere: '',
        ask: async (text) => {
          asked.push(text)
          return typed.shift() ?? ''
        },
        say: () => {},
        columnCount: 80,
      },
      GO_ON,
    )
    expect(answers.get('output_count')).toBe('2')
    expect(answers.get('layout')).toBe('usual')
    expect(answers.get('name')).toBe('Velmora Tarn')
    expect(asked.filter((text) => text.includes('How many outputs'))).toHaveLength(2)
  })
})
