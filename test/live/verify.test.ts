/**
 * The whole job, live: the command plays through a sound server into a vehicle that works in real time, captures its
 * outputs, asks a serial meter, and comes to the verdict that the same vehicle gets offline.
 */

import { execFile, spawn } from 'node:child_process'
import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join, resolve } from 'node:path'
import { afterAll, beforeAll, expect, test, vi } from 'vitest'
import { Result } from '../../src/verdict/result.js'
import { isLong } from '../long.js'
import { missingTools, needsTool, type Tool } from '../tools.js'
import { type FilterDescription, type LiveWorld, type OutputDescription, startLiveWorld } from './world.js'

const TOOLS: Tool[] = ['pulseaudio', 'parec', 'pacat', 'pactl', 'socat']
const COMMAND = resolve('dist/cli/main.js')
const JOB = resolve('captures/quillon/job.yaml')

/** Fourth-order Butterworth as two sections. */
const butterworth = (type: 'lowpass' | 'highpass', freqHz: number): FilterDescription[] =>
  [0.5412, 1.3066].map((q) => ({ type, freqHz, q }))

/** Fourth-order Linkwitz-Riley: the second-order Butterworth twice, whose two sides add up flat. */
const linkwitzRiley = (type: 'lowpass' | 'highpass', freqHz: number): FilterDescription[] =>
  [Math.SQRT1_2, Math.SQRT1_2].map((q) => ({ type, freqHz, q }))

/** Of a second-order section made by the bilinear transform at 48 kHz (W3C Audio EQ Cookbook), closed form. */
function gainAt({ type, freqHz, q }: FilterDescription, atHz: number): number {
  const x = Math.tan((Math.PI * atHz) / 48_000) / Math.tan((Math.PI * freqHz) / 48_000)
  return (type === 'highpass' ? x * x : 1) / Math.hypot(1 - x * x, x / (q ?? Math.SQRT1_2))
}

/** The vehicle of captures/quillon/job.yaml, described a second time and built by other code than the simulated one. */
const HEALTHY: OutputDescription[] = [
  { leftGain: 1, rightGain: 0, levelVrms: 2, filters: linkwitzRiley('highpass', 3000) },
  { leftGain: 0, rightGain: 1, levelVrms: 2, filters: linkwitzRiley('highpass', 3000) },
  { leftGain: 1, rightGain: 0, levelVrms: 2, filters: linkwitzRiley('lowpass', 3000) },
  { leftGain: 0, rightGain: 1, levelVrms: 2, filters: linkwitzRiley('lowpass', 3000) },
  { leftGain: 1, rightGain: 0, levelVrms: 1.8 },
  { leftGain: 0, rightGain: 1, levelVrms: 1.8 },
  { leftGain: 0.5, rightGain: 0.5, levelVrms: 1.6, filters: butterworth('highpass', 100) },
  {
    leftGain: 0.5,
    rightGain: 0.5,
    levelVrms: 0.8,
    delayS: 0.012,
    filters: [...butterworth('highpass', 150), ...butterworth('lowpass', 7000)],
  },
  { leftGain: 1, rightGain: 0, levelVrms: 2.5, filters: butterworth('lowpass', 80) },
  { leftGain: 0, rightGain: 1, levelVrms: 2.5, filters: butterworth('lowpass', 80) },
].map((output) => ({ ...output, noiseVrms: 1e-5 }))

const FAULTY: OutputDescription[] = HEALTHY.map((output, k) => {
  if (k === 1) return { ...output, polarity: -1 as const }
  if (k === 4) return HEALTHY[5]
  if (k === 5) return HEALTHY[4]
  if (k === 6) return { ...output, levelVrms: 0 }
  return output
})

// One attempt takes about 50 s.
vi.setConfig({ testTimeout: 240_000 })

let folder: string
let world: LiveWorld | null = null

beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'linetrue-verify-'))
})
afterAll(async () => {
  await world?.stop()
  rmSync(folder, { recursive: true, force: true })
})

async function begin(
  outputs: readonly OutputDescription[],
  hasMeter = true,
): Promise<{ world: LiveWorld; rigPath: string }> {
  await world?.stop()
  world = await startLiveWorld({ vehicle: { fullScaleVrms: 4, outputs }, meterAcrossOutput: hasMeter ? 5 : null })
  const rigPath = join(folder, 'rig.yaml')
  writeFileSync(
    rigPath,
    [
      'name: live test rig',
      `capture: { driver: pulse, device: ${world.captureDevice}, sample_rate_hz: 48000, bits: 32 }`,
      `player: { driver: computer, device: ${world.playerDevice} }`,
      ...(hasMeter
        ? [
            `meter: { driver: scpi, port: ${world.meterPort}, baud_rate: 9600, across_input: 5, accuracy_pct: 0.5, accuracy_vrms: 0.002 }`,
          ]
        : []),
      'inputs: { count: 12, full_scale_vrms: 4.0, pad_db: 0, level_uncertainty_db: 0.1 }',
    ].join('\n'),
  )
  return { world, rigPath }
}

function command(
  args: readonly string[],
  env: NodeJS.ProcessEnv = {},
): Promise<{ code: number; out: string; err: string }> {
  return new Promise((done) => {
    execFile(process.execPath, [COMMAND, ...args], { env: { ...process.env, ...env } }, (error, out, err) =>
      done({ code: error ? Number(error.code) : 0, out, err }),
    )
  })
}

/** Real time is the computer's to give: a run in which the vehicle ran dry is no run, and is made again. */
const ATTEMPTS = 3

async function liveRun(outputs: readonly OutputDescription[], name: string) {
  const glitches: string[][] = []
  for (let attempt = 1; attempt <= ATTEMPTS; attempt++) {
    const { world: live, rigPath } = await begin(outputs)
    const out = join(folder, `${name}-${attempt}`)
    const run = await command(['verify', JOB, '--rig', rigPath, '--out', out, '--yes'], live.env)
    if (live.glitches().length === 0) return { code: run.code, said: run.err + run.out, out, rigPath }
    glitches.push(live.glitches())
  }
  throw new Error(`the computer was too busy to keep real time, ${ATTEMPTS} times: ${JSON.stringify(glitches)}`)
}

const resultIn = (out: string): Result => Result.parse(JSON.parse(readFileSync(join(out, 'result.json'), 'utf8')))

const verdicts = (result: Result) =>
  result.outputs.map(({ number, verdict, checks }) => ({
    number,
    verdict,
    checks: checks.map((check) => [check.name, check.verdict]),
  }))

test('a healthy vehicle passes live, and its take passes again as a recording with the same figures', async (context) => {
  needsTool(context, ...TOOLS)
  const { code, said, out, rigPath } = await liveRun(HEALTHY, 'healthy')
  expect(said).toContain('10 outputs')
  expect(code).toBe(0)
  const result = resultIn(out)
  expect(result.isSimulated).toBe(false)
  // The meter sees what the vehicle gives on output 5 and has a say of its own.
  expect(result.checks.find(({ name }) => name === 'meter agreement')?.verdict).toBe('pass')
  // One clock on this computer: player and capture agree, and the sinks pass samples on unchanged.
  expect(Math.abs(result.takes[0].clockOffsetPpm)).toBeLessThan(0.05)
  for (const output of result.outputs) {
    const level = output.figures.find(({ quantity }) => quantity === 'level')!
    const { levelVrms, filters = [] } = HEALTHY[output.number - 1]
    // Truth: the description, and its filters' closed form at the reference. 0.005 dB is the response window's part.
    const truthVrms = filters.reduce((truth, filter) => truth * gainAt(filter, level.freqHz!), levelVrms)
    expect(Math.abs(20 * Math.log10(level.value! / truthVrms))).toBeLessThan(0.005)
  }

  // Stored as floating point, a take is what was measured to the last bit.
  const again = join(folder, 'again')
  const take = join(out, result.takes[0].source)
  const offline = await command(['verify', JOB, '--rig', rigPath, '--recording', take, '--out', again])
  expect(offline.code).toBe(0)
  expect(verdicts(resultIn(again))).toEqual(verdicts(result))
  expect(resultIn(again).outputs.map(({ figures }) => figures)).toEqual(result.outputs.map(({ figures }) => figures))
})

// The healthy one goes the same way; a minute and a half is the long run's to spend.
if (isLong) {
  test('a faulty vehicle fails live with the findings that it gets offline, and with no others', async (context) => {
    needsTool(context, ...TOOLS)
    const { code, out, rigPath } = await liveRun(FAULTY, 'faulty')
    expect(code).toBe(1)
    const result = resultIn(out)
    const found = result.findings.map(({ kind, outputs }) => `${kind} ${outputs.join(' ')}`).sort()
    expect(found).toEqual(['dead 7', 'inverted 2', 'swapped 5 6'])
    const again = join(folder, 'faulty-again')
    const take = join(out, result.takes[0].source)
    expect((await command(['verify', JOB, '--rig', rigPath, '--recording', take, '--out', again])).code).toBe(1)
    expect(resultIn(again).findings).toEqual(result.findings)
  })
}

test('Ctrl-C while the track plays ends the run at once with one line, and leaves no half take behind', async (context) => {
  needsTool(context, ...TOOLS)
  if (missingTools(...TOOLS).length > 0) return
  const { world: live, rigPath } = await begin(HEALTHY, false)
  const out = join(folder, 'stopped')
  const child = spawn(process.execPath, [COMMAND, 'verify', JOB, '--rig', rigPath, '--out', out, '--yes'], {
    env: { ...process.env, ...live.env },
  })
  let err = ''
  const playing = new Promise<void>((done) => {
    child.stderr.on('data', (text) => {
      err += text
      if (err.includes('playing and capturing')) done()
    })
  })
  await playing
  await new Promise((done) => setTimeout(done, 700))
  const stoppedAtMs = Date.now()
  child.kill('SIGINT')
  const code = await new Promise((done) => child.on('exit', done))
  expect(code).toBe(4)
  // At once: within two seconds on a busy computer.
  expect(Date.now() - stoppedAtMs).toBeLessThan(2000)
  const last = err.trimEnd().split('\n').at(-1)
  expect(last).toContain('linetrue: stopped by Ctrl-C')
  expect(err).not.toMatch(/\n\s+at /)
  const takes = join(out, 'takes')
  expect(existsSync(takes) ? readdirSync(takes) : []).toEqual([])
})
