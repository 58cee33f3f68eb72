/** A whole job on the simulated rig: all stages in one run, from an answers file; each fault blamed on its own stage. */
import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, afterEach, beforeAll, beforeEach, expect, test, vi } from 'vitest'
import { walkCommand } from '../../src/cli/walk.js'
import type { StageName } from '../../src/job/job.js'
import { StopError } from '../../src/units/stop.js'
import type { Result } from '../../src/verdict/result.js'
import { some } from '../long.js'

vi.setConfig({ testTimeout: 120_000 })

const JOB = `
name: Two outputs
vehicle: { model: Tarn }
rig: rig.yaml
volume_step: 30
stages: [pins, outputs, flat, gains, chimes, engine, standby]
outputs:
  - { number: 1, label: left, left: 1, right: 0, level_vrms: 2, pair: front }
  - { number: 2, label: right, left: 0, right: 1, level_vrms: 2, pair: front }
pins:
  - { connector: C1, pin: 1, function: constant_supply, colour: RD }
  - { connector: C1, pin: 2, function: ground, colour: BK }
  - { connector: C1, pin: 5, function: data_high, colour: GN }
  - { connector: C1, pin: 6, function: data_low, colour: BN }
  - { connector: C2, pin: 4, function: restraint, colour: YE }
amplifiers:
  - { name: front left, outputs: [1], rated_w: 75, load_ohm: 4 }
  - { name: front right, outputs: [2], rated_w: 75, load_ohm: 4 }
chimes:
  - { name: turn signal, outputs: [1] }
  - { name: seat belt, outputs: [1, 2] }
flat: { tolerance_db: 0.5 }
engine: { speeds_rpm: [idle, 2000] }
standby: { battery_ah: 70 }
`
const RIG = (faults: boolean): string => `
name: bench
${faults ? 'faults: faults.yaml' : ''}
capture: { driver: simulated, sample_rate_hz: 48000, bits: 24 }
player: { driver: simulated }
meter: { driver: simulated, across_input: 1, accuracy_pct: 0.5, accuracy_vrms: 0.002 }
inputs: { count: 2, full_scale_vrms: 4, level_uncertainty_db: 0.1 }
`

/** One fault for each stage: what its faults file holds, and a word of the finding. */
const FAULTS: readonly (readonly [StageName, string, RegExp])[] = [
  ['pins', 'pins: { C1-5: { terminators: 1 } }', /120/],
  ['outputs', 'outputs: { 2: { inverted: true } }', /inverted/],
  // Within the limits of the outputs, and more than the tuner allows.
  [
    'flat',
    'outputs: { 1: { equaliser: [{ kind: peaking, freq_hz: 2500, gain_db: 0.8, q: 1.5 }] } }',
    /1 left.* \+0\.[67] dB at 2\.[45]/,
  ],
  ['chimes', 'chimes: { seat belt: { silent: true } }', /seat belt/],
  ['standby', 'power: { standby_a: 0.025 }', /25 mA/],
  [
    'engine',
    'engine: { whine: { freq_hz: 1200, at_rpm: 800, level_dbv: -62, harmonic_count: 3 }, outputs: [2] }',
    /whine/,
  ],
  ['gains', 'amplifiers: { front left: { dead: true } }', /front left/],
]

let folder = ''
const said: string[] = []
beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'linetrue-walk-'))
})
afterAll(() => rmSync(folder, { recursive: true, force: true }))
beforeEach(() => {
  said.length = 0
  vi.spyOn(process.stderr, 'write').mockImplementation((text) => said.push(String(text)) > 0)
  vi.spyOn(process.stdout, 'write').mockImplementation(() => true)
})
afterEach(() => vi.restoreAllMocks())

interface Walked {
  readonly status: number
  readonly result: Result
}

let jobCount = 0
function jobWith(faults: string | null, job = JOB): string {
  const own = mkdtempSync(join(folder, `job${++jobCount}-`))
  writeFileSync(join(own, 'job.yaml'), job)
  writeFileSync(join(own, 'rig.yaml'), RIG(faults !== null))
  if (faults !== null) writeFileSync(join(own, 'faults.yaml'), `${faults}\n`)
  return own
}

const walk = (
  jobPath: string,
  more: { answers?: string; only?: StageName } = {},
  signal = new AbortController().signal,
) =>
  walkCommand(
    { jobPath, recording: [], isAttended: false, version: '0', ...more },
    (more.only as Exclude<StageName, 'outputs'>) ?? null,
    signal,
  )

const resultIn = (jobPath: string): Result => {
  const run = readdirSync(jobPath).find((name) => name.startsWith('run-'))!
  return JSON.parse(readFileSync(join(jobPath, run, 'result.json'), 'utf8'))
}

async function walked(jobPath: string, more = {}): Promise<Walked> {
  return { status: await walk(jobPath, more), result: resultIn(jobPath) }
}

const verdictsOf = ({ stages }: Result) => Object.fromEntries(stages.map(({ stage, verdict }) => [stage, verdict]))
const ALL_PASS = { pins: 'pass', flat: 'pass', gains: 'pass', chimes: 'pass', engine: 'pass', standby: 'pass' }

test('a healthy vehicle passes all stages in one run, answered from a file', async () => {
  const jobPath = jobWith(null)
  const answers = join(jobPath, 'answers.yaml')
  writeFileSync(answers, 'chimes.turn signal: done\nnobody.asks: done\n')
  const { status, result } = await walked(jobPath, { answers })
  expect(verdictsOf(result)).toEqual(ALL_PASS)
  expect([status, result.verdict, result.outputs.length]).toEqual([0, 'pass', 2])
  expect(result.summary).toMatch(/^All 7 stages pass/)
  expect(result.settings.find(({ name }) => name === 'loudness')).toMatchObject({
    asked: 'off',
    answer: 'set by the model',
  })
  expect(said.join('')).toContain('Nothing asked for these answers: nobody.asks')
  // Airbag circuits are never asked for.
  expect(said.join('')).not.toMatch(/C2 pin 4/)
})

test.each(some(FAULTS, 2))('a fault of %s is found there, and nowhere else', async (stage, faults, says) => {
  const { status, result } = await walked(jobWith(faults))
  expect(status).toBe(1)
  const findings = stage === 'outputs' ? result.findings : result.stages.find((one) => one.stage === stage)!.findings
  expect(findings.map(({ title, because }) => `${title} ${because}`).join('\n')).toMatch(says)
  if (stage === 'pins') {
    // Nothing is powered before the pins are right.
    expect(result.stages.map((one) => one.stage)).toEqual(['pins'])
    expect(result.rig.notes.join()).toContain('Not made: outputs, flat, gains, chimes, engine, standby.')
    return
  }
  expect(verdictsOf(result)).toEqual(stage === 'outputs' ? ALL_PASS : { ...ALL_PASS, [stage]: 'fail' })
  if (stage !== 'outputs') expect(result.findings).toEqual([])
})

test('a walk that is stopped goes on with the stages that it kept', async () => {
  const jobPath = jobWith(null, JOB.replace('outputs, flat, gains, chimes, engine, standby', 'chimes, standby'))
  const stopping = new AbortController()
  const reason = new StopError('stopped by Ctrl-C', 'this run', 'Give it again.', 'instrument')
  vi.mocked(process.stderr.write).mockImplementation((text) => {
    if (String(text).includes('Heard turn signal')) stopping.abort(reason)
    return said.push(String(text)) > 0
  })
  await expect(walk(jobPath, {}, stopping.signal)).rejects.toBe(reason)
  said.length = 0
  const { result } = await walked(jobPath)
  expect(said.join('')).toMatch(/Goes on with run-.*: kept the stage pins, and \d steps? of chimes\. /)
  expect(said.join('')).not.toContain('Heard turn signal')
  expect(verdictsOf(result)).toEqual({ pins: 'pass', chimes: 'pass', standby: 'pass' })
})

test('a stage alone needs what the job says of it', async () => {
  const jobPath = jobWith(null, JOB.replace(/chimes:\n( {2}-.*\n)+/, ''))
  await expect(walk(jobPath, { only: 'chimes' })).rejects.toThrow(/chimes/)
  expect(readdirSync(jobPath).filter((name) => name.startsWith('run-'))).toEqual([])
})
