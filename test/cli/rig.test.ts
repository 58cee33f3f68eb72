import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest'
import { calibrationPathOf, loadCalibration } from '../../src/cli/calibration.js'
import { type CalibrateOptions, type RigOptions, rigCalibrateCommand, rigLimitsCommand } from '../../src/cli/rig.js'
import { parseRig } from '../../src/rig/parse.js'
import { StopError } from '../../src/units/stop.js'

const GO_ON = new AbortController().signal
const FAULTS = 'capture: { lead_in_s: 0.3, trail_s: 0.3, level_error_db: 0.7 }\n'
let folder: string
let shown: string[]
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'linetrue-rig-'))
  shown = []
  writeFileSync(join(folder, 'card.yaml'), FAULTS)
  vi.spyOn(process.stdout, 'write').mockImplementation((text) => shown.push(String(text)) > 0)
  vi.spyOn(process.stderr, 'write').mockImplementation(() => true)
})
afterEach(() => {
  vi.restoreAllMocks()
  rmSync(folder, { recursive: true })
})

const rigText = (more = ''): string => `name: small bench
capture: { driver: simulated }
player: { driver: simulated }
meter: { driver: simulated, accuracy_pct: 0.5, accuracy_vrms: 0.002 }
inputs: { count: 2, full_scale_vrms: 4, level_uncertainty_db: 0.1 }
faults: card.yaml
${more}`
const rigFile = (text = rigText()): string => {
  const path = join(folder, 'bench.yaml')
  writeFileSync(path, text)
  return path
}
const calibrate = (rigPath: string, more: Partial<CalibrateOptions> = {}, signal = GO_ON): Promise<number> =>
  rigCalibrateCommand({ rigPath, feed: 'all', readings: '3', isAttended: false, version: '0.0.0', ...more }, signal)
const limits = (rigPath: string, more: Partial<RigOptions> = {}): Promise<number> =>
  rigLimitsCommand({ rigPath, feed: 'all', isAttended: false, version: '0.0.0', ...more }, GO_ON)
const messageOf = (running: Promise<unknown>): Promise<string> =>
  running.then(
    () => Promise.reject(new Error('no stop was thrown')),
    (error) => (error instanceof StopError ? error.message : Promise.reject(error)),
  )
const loaded = (path: string) => loadCalibration({ value: parseRig(readFileSync(path, 'utf8'), path), text: '', path })
const fileIn = (name: string): string => readFileSync(join(folder, name), 'utf8')

test('both commands write one file beside the rig file, each its own part', async () => {
  const path = rigFile()
  expect(await calibrate(path)).toBe(0)
  const first = (await loaded(path))!.value
  expect(first).toMatchObject({ rigName: 'small bench', shorted: null, looped: null })
  expect(first.volts!.inputs.map(({ differenceDb }) => differenceDb)).toEqual([
    expect.closeTo(-0.7, 1),
    expect.closeTo(-0.7, 1),
  ])
  expect(await limits(path)).toBe(0)
  const second = (await loaded(path))!.value
  expect(second.volts).toEqual(first.volts)
  expect(second.shorted!.inputs).toHaveLength(2)
  expect(second.looped!.feed).toBe('all')
  expect(readdirSync(folder).sort()).toEqual(['bench.calibration.yaml', 'bench.yaml', 'card.yaml'])
}, 60_000)

test('what was found is shown in a table no wider than the screen', async () => {
  await calibrate(rigFile())
  const lines = shown.join('').split('\n')
  expect(lines[0]).toBe('Done    Volts of inputs 1 and 2 by the meter.')
  expect(Math.max(...lines.map(({ length }) => length))).toBeLessThanOrEqual(80 + folder.length)
  expect(lines).toContainEqual(expect.stringMatching(/^ {2}1 +3\.6\d{3} +0\.06\d +4\.0000 +−0\.[67]\d +0 +8$/))
  expect(shown.join('').replace(/\s+/g, ' ')).toContain('off from the rig file by more than both uncertainties')
  expect(shown.join('')).toContain('SIMULATED: a model was measured, no card.')
})

test('the rig file may name another calibration file', async () => {
  const path = rigFile(rigText('calibration: april.yaml\n'))
  await calibrate(path)
  expect(readdirSync(folder)).toContain('april.yaml')
  expect((await loaded(path))!.value.rigName).toBe('small bench')
  rmSync(join(folder, 'april.yaml'))
  expect(await messageOf(loaded(path))).toContain('calibration file not found')
})

test('a rig without a calibration file has none', async () => {
  const path = rigFile()
  expect(await loaded(path)).toBeNull()
  expect(calibrationPathOf({ value: parseRig(rigText(), path), text: '', path })).toBe(
    join(folder, 'bench.calibration.yaml'),
  )
})

describe('the old file stays as it is when', () => {
  const OLD = 'rig: small bench\n'

  test('a person stops the command', async () => {
    writeFileSync(join(folder, 'bench.calibration.yaml'), OLD)
    const stopping = new AbortController()
    const reason = new StopError('stopped by Ctrl-C', 'this run', 'Give it again.', 'instrument')
    // As soon as the command says that the meter is being read.
    vi.spyOn(process.stderr, 'write').mockImplementation((text) => {
      if (/reading|meter/.test(String(text))) stopping.abort(reason)
      return true
    })
    await expect(calibrate(rigFile(), { readings: '50' }, stopping.signal)).rejects.toBe(reason)
    expect(fileIn('bench.calibration.yaml')).toBe(OLD)
    expect(readdirSync(folder).sort()).toEqual(['bench.calibration.yaml', 'bench.yaml', 'card.yaml'])
  })

  test('the result cannot be true', async () => {
    writeFileSync(join(folder, 'bench.calibration.yaml'), OLD)
    writeFileSync(join(folder, 'card.yaml'), 'capture: { inputs: { 2: { gain_db: 10 } } }\n')
    expect(await messageOf(calibrate(rigFile()))).toContain('input 2 comes out at')
    expect(fileIn('bench.calibration.yaml')).toBe(OLD)
  })

  test('it is of another rig', async () => {
    writeFileSync(join(folder, 'bench.calibration.yaml'), 'rig: other bench\n')
    expect(await messageOf(calibrate(rigFile()))).toMatch(
      /^this calibration is of another rig, "other bench" \(.*bench\.calibration\.yaml\)\. Move it away/,
    )
    expect(fileIn('bench.calibration.yaml')).toBe('rig: other bench\n')
  })

  test('it is broken', async () => {
    writeFileSync(join(folder, 'bench.calibration.yaml'), 'rig: [\n')
    expect(await messageOf(limits(rigFile()))).toContain('bench.calibration.yaml:2')
    expect(fileIn('bench.calibration.yaml')).toBe('rig: [\n')
  })
})

describe('stops with one line at', () => {
  test.each([
    [
      'a rig for recordings',
      'name: r\ncapture: { driver: recording }\nplayer: { driver: none }\ninputs: { count: 1, full_scale_vrms: 2, level_uncertainty_db: 0.3 }\n',
      'there is no card to check',
    ],
    [
      'a rig whose track a person starts',
      'name: r\ncapture: { driver: pulse }\nplayer: { driver: stick }\ninputs: { count: 1, full_scale_vrms: 2, level_uncertainty_db: 0.3 }\n',
      'this rig has no player of its own',
    ],
    ['a rig without a meter', rigText().replace(/^meter.*\n/m, ''), 'this rig has no meter to calibrate against'],
  ])('%s', async (_, text, says) => {
    expect(await messageOf(calibrate(rigFile(text)))).toContain(says)
  })

  test.each([
    [{ feed: 'both' }, '"both" is no way to feed the inputs (--feed). Use one of all, each.'],
    [{ freq: '60,high' }, '"high" is not a number from 20 to 20000 (--freq)'],
    [{ readings: '1' }, '"1" is not a number from 3 to 100 (--readings)'],
  ])('the option %j', async (more, says) => {
    expect(await messageOf(calibrate(rigFile(), more))).toContain(says)
  })

  test('a rig file that is not there', async () => {
    expect(await messageOf(calibrate(join(folder, 'none.yaml')))).toContain('rig file not found')
  })
})
