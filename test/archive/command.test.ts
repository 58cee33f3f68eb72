/** `linetrue archive` as a person runs it, and several bays that write into one folder and are killed. */
import { type ChildProcess, spawn, spawnSync } from 'node:child_process'
import {
  appendFileSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { createInterface } from 'node:readline'
import { setTimeout as sleep } from 'node:timers/promises'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { checkArchive } from '../../src/archive/check-archive.js'
import { readResult } from '../../src/archive/read-result.js'
import { RESULT_FILE } from '../../src/archive/run-folder.js'
import { runsBelow, stateOf } from '../../src/archive/scan.js'
import type { Figure } from '../../src/verdict/parts.js'
import type { Result } from '../../src/verdict/result.js'
import { uniformFrom } from '../kit/random.js'
import { isLong } from '../long.js'
import { buildCommand, type Ended, type LinetrueCommand } from '../outside/command.js'
import { faultyResult } from '../report/sample-result.js'
import { needsTool } from '../tools.js'
import { plainResult, putRun } from './sealed-runs.js'

let folder: string
let command: LinetrueCommand
let archive: string
const cacheBefore = process.env['LINETRUE_CACHE']

const HOSTILE = '=cmd|" /C calc"!A0'
const NAME = `<b>Łucja</b> 🚗 \u202egnorw\u001b[31m ${'x'.repeat(300)}`

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'linetrue-archive-'))
  process.env['LINETRUE_CACHE'] = join(folder, 'cache')
  command = buildCommand(folder)
  archive = join(folder, 'captures')
  const estate = { vin: '123456A8XS1000001', plate: 'LT 0010', jobNumber: 'D-001', technician: HOSTILE, customer: NAME }
  const old = plainResult(estate, {
    verdict: 'fail',
    findings: faultyResult().findings,
    startedAt: '2026-04-01T14:30:05.000Z',
  })
  await putRun(archive, 'estate/run-20260401-143005', old)
  await putRun(archive, 'estate/run-20260402-090000', changed(old))
  await putRun(archive, 'van/run-20260310-100000', plainResult({ vin: null, plate: null, jobNumber: 'E/7' }))
}, 60_000)
afterAll(() => {
  if (cacheBefore === undefined) delete process.env['LINETRUE_CACHE']
  else process.env['LINETRUE_CACHE'] = cacheBefore
  rmSync(folder, { recursive: true, force: true })
})

/** A retest: output 1's level lower by more than both uncertainties, output 2's by less, THD read in another way. */
function changed(old: Result): Result {
  const moved = (number: number, figure: Figure): Figure => {
    if (figure.quantity === 'thd') return { ...figure, method: figure.method.replace(/\d+$/, '9') }
    if (figure.quantity !== 'level') return figure
    return { ...figure, value: figure.value! - (number === 1 ? 1.5 : 1.4) * figure.u! }
  }
  const outputs = old.outputs.map((one) => ({
    ...one,
    figures: one.figures.map((figure) => moved(one.number, figure)),
  }))
  return {
    ...old,
    outputs,
    verdict: 'pass',
    findings: [],
    retestOf: 'run-20260401-143005',
    startedAt: '2026-04-02T09:00:00.000Z',
  }
}

const run = (...args: string[]): Promise<Ended> => command.run(['archive', ...args], folder)

test('runs are found, and what steers a terminal is not shown', async () => {
  const found = await run('find', '--plate', 'lt0010', '--verdict', 'fail')
  expect(found).toMatchObject({ status: 0, err: '' })
  expect(found.out).toContain('FAIL    2026-04-01 14:30 UTC · estate/run-20260401-143005')
  expect(found.out).toContain('1 run found.')
  expect(found.out).not.toMatch(/[\u001b\u202e]/)
  expect(Math.max(...found.out.split('\n').map((line) => line.length))).toBeLessThanOrEqual(80)
  expect(await run('find', 'nowhere')).toMatchObject({ status: 1, out: 'No run was found.\n' })
  expect(
    (await run('find', '--json', '--limit', '2')).out
      .trim()
      .split('\n')
      .map((line) => JSON.parse(line).path),
  ).toEqual(['estate/run-20260402-090000', 'estate/run-20260401-143005'])
})

test.each([
  [['find', '--from', '2026-13-01'], '"2026-13-01" is no day (--from). Write it as year, month, day: 2026-04-01.'],
  [['find', '--vin', '🚗'], 'there is no letter and no digit in "🚗"'],
  [['find', '--archive', 'nowhere'], 'there is no such folder (nowhere). Give --archive FOLDER'],
  [['show', 'D-999'], 'there is no run "D-999" (captures). Look for it with linetrue archive find.'],
  [['find', '--verdict', 'good'], "argument 'good' is invalid"],
])('what is asked for in a wrong way is said in one line: %j', async (args, says) => {
  const { status, err } = await run(...args)
  expect({ status, err }).toEqual({ status: 3, err: expect.stringContaining(says) })
})

test('a run is shown and opened by its job number, and its retest is named', async () => {
  const shown = await run('show', 'D-001')
  expect(shown.out).toContain('It follows run-20260401-143005.')
  expect(shown.out).toContain('Report  captures/estate/run-20260402-090000/report.html')
  const { status, out } = await run('open', 'estate/run-20260401-143005')
  expect({ status, out }).toEqual({ status: 0, out: 'captures/estate/run-20260401-143005/report.html\n' })
})

test('two runs are compared by their uncertainties, and other methods are said', async () => {
  const { status, out } = await run('compare', 'run-20260401-143005', 'run-20260402-090000')
  expect(status).toBe(1)
  expect(out).toMatch(/! 1 front left high +1\.997 V +1\.962 V +−34 mV\n +Level at/)
  // 1.5 U is more than sqrt(2) U, 1.4 U is less.
  expect(out).toMatch(/ 1 of \d+ figures changed by more than both uncertainties together/)
  expect(out.replace(/\s+/g, ' ')).toContain('version 1 in A, 9 in B')
  expect(await run('compare', 'estate/run-20260401-143005', 'estate/run-20260401-143005')).toMatchObject({ status: 0 })
})

test("an export is read back by Python's csv, figure by figure, and holds no formula", async (context) => {
  needsTool(context, 'scipy')
  const { status } = await run('export', '--number', 'D-001', '--out', 'all.csv')
  expect(status).toBe(0)
  const script =
    'import csv,json,sys; print(json.dumps(list(csv.DictReader(open(sys.argv[1], newline="", encoding="utf-8")))))'
  const read = (file: string): Record<string, string>[] =>
    JSON.parse(
      spawnSync('/usr/bin/python3', ['-c', script, join(folder, file)], { encoding: 'utf8', maxBuffer: 1e8 }).stdout,
    )
  const rows = read('all.csv')
  const { result } = await readResult(join(archive, 'estate/run-20260401-143005'))
  const figures = result!.outputs.flatMap((output) => output.figures)
  const ofFirst = rows.filter((row) => row['run'] === 'run-20260401-143005' && row['part'] === 'outputs')
  expect(ofFirst.map((row) => (row['value'] === '' ? null : Number(row['value'])))).toEqual(
    figures.map(({ value }) => value),
  )
  expect(ofFirst[0]['technician']).toBe(`'${HOSTILE}`)
  expect(ofFirst[0]['customer']).toBe(`<b>Łucja</b> 🚗 gnorw ${'x'.repeat(300)}`)
  expect(await run('export', '--out', 'all.csv')).toMatchObject({
    status: 3,
    err: expect.stringContaining('there is such a file already, and it stays as it is'),
  })
  await run('export', '--private', '--out', 'private.csv')
  await run('export', '--private', '--format', 'json', '--out', 'private.json')
  for (const file of ['private.csv', 'private.json']) {
    expect(readFileSync(join(folder, file), 'utf8')).not.toMatch(/Łucja|calc|LT 0010|123456A8XS1000001|estate\//)
  }
  expect(read('private.csv').length).toBeGreaterThan(rows.length)
  expect(JSON.parse(readFileSync(join(folder, 'private.json'), 'utf8'))).toHaveLength(3)
})

test('trends go into a page and a file, with a platform that has too few vehicles to say more', async () => {
  const { status, out } = await run('trends', '--out', 'trends')
  expect({ status, out }).toEqual({
    status: 0,
    out: '2 vehicles, 0 of them stand apart.\nTrends  trends/trends.html\n',
  })
  const page = readFileSync(join(folder, 'trends', 'trends.html'), 'utf8')
  expect(page).toContain('<h2>Level</h2>')
  expect(page).toContain('too few')
})

test('the check tells each file that is not as it was, results of other versions, and numbers and runs that are there twice', async () => {
  const clean = await run('check')
  expect({ status: clean.status, out: clean.out }).toEqual({
    status: 0,
    out: expect.stringMatching(/^PASS {4}All that is sealed is as it was\. 3 finished runs looked at/),
  })
  const other = join(folder, 'other')
  const first = await putRun(other, 'a/run-20260401-143005', plainResult({ vin: 'A1', jobNumber: 'N-1' }))
  await putRun(other, 'b/run-20260401-143005', plainResult({ vin: 'B2', jobNumber: 'n 1' }))
  const newer = await putRun(other, 'c/run-20260401-143005', plainResult({ vin: 'C3', jobNumber: null }))
  mkdirSync(join(other, 'd', 'run-20260401-143005'), { recursive: true })
  appendFileSync(join(first, 'report.html'), ' ')
  rmSync(join(first, 'summary.json'))
  writeFileSync(join(first, 'new.txt'), '')
  writeFileSync(join(newer, RESULT_FILE), JSON.stringify({ format: 'linetrue-result', version: 9, verdict: 'pass' }))
  rmSync(join(newer, 'checksums.sha256'))
  const { status, out } = await run('check', '--archive', other)
  expect(status).toBe(1)
  const text = out.replace(/\s+/g, ' ')
  for (const says of [
    'a/run-20260401-143005: report.html has changed since the run ended',
    'a/run-20260401-143005: summary.json is missing',
    'a/run-20260401-143005: new.txt is not of this run: it was added later',
    'a/run-20260401-143005: its job number is that of another vehicle too: b/run-20260401-143005',
    'c/run-20260401-143005: result.json is of version 9, a newer one: this program reads 2 and 3',
    'c/run-20260401-143005: not sealed',
    'd/run-20260401-143005: not finished',
  ]) {
    expect(text).toContain(says)
  }
  expect(await run('show', join(newer))).toMatchObject({ status: 1, out: expect.stringContaining('version 9') })
})

describe('four bays write into one folder and are killed again and again', () => {
  const RUN_COUNT = isLong ? 1000 : 40
  test(
    `of ${RUN_COUNT} runs none is lost, none is half there as finished, and the check is clean`,
    async () => {
      const shared = join(folder, 'shared')
      for (let n = 0; n < 5; n++) mkdirSync(join(shared, `vehicle-${n}`), { recursive: true })
      const resultPath = join(folder, 'template.json')
      writeFileSync(resultPath, JSON.stringify(plainResult({ jobNumber: null })))
      const own = join(folder, 'program', 'dist')
      const dist = existsSync(own) ? own : 'dist'
      const chance = uniformFrom(6)
      const said = new Set<string>()
      let killCount = 0
      const bays: ChildProcess[] = []
      const start = (bay: number): void => {
        const args = ['test/archive/writer.mjs', dist, shared, String(bay), resultPath]
        const child = spawn(process.execPath, args, { stdio: ['ignore', 'pipe', 'inherit'] })
        createInterface({ input: child.stdout! }).on('line', (line) => {
          expect(said.has(line)).toBe(false)
          said.add(line)
        })
        bays[bay] = child
      }
      for (let bay = 0; bay < 4; bay++) start(bay)
      while (said.size < RUN_COUNT) {
        await sleep(300 + 900 * chance())
        const bay = Math.floor(4 * chance())
        if (bays[bay].exitCode !== null) throw new Error(`a bay ended with ${bays[bay].exitCode}`)
        const isOver = new Promise((over) => bays[bay].once('close', over))
        bays[bay].kill('SIGKILL')
        killCount++
        await isOver
        start(bay)
        // Whatever has a result is whole, in the midst of it all.
        for (const path of runsBelow(shared)) {
          if (!existsSync(join(shared, path, RESULT_FILE)) || chance() > 0.1) continue
          expect({ path, ...(await readResult(join(shared, path))) }).toMatchObject({ path, why: '' })
        }
      }
      const closed = bays.map((bay) => new Promise((over) => bay.once('close', over)))
      for (const bay of bays) bay.kill('SIGKILL')
      await Promise.all(closed)

      const check = await checkArchive(shared)
      const runs = [...runsBelow(shared)]
      const finished = runs.filter((path) => stateOf(join(shared, path)) !== 'unfinished')
      expect(check.troubles).toEqual([])
      expect([...said].filter((path) => stateOf(join(shared, path)) !== 'sealed')).toEqual([])
      // A kill between two words of one bay leaves at most one run that was not said.
      expect(finished.length).toBeLessThanOrEqual(said.size + killCount + 4)
      expect(check.unfinished.length + check.unsealed.length).toBeLessThanOrEqual(killCount + 4)
      expect(new Set(runs).size).toBe(readdirSync(shared).flatMap((job) => readdirSync(join(shared, job))).length)
      console.log(
        `${said.size} runs said, ${finished.length} finished, ${check.unsealed.length} not sealed, ${check.unfinished.length} not finished, ${killCount} kills`,
      )
    },
    isLong ? 900_000 : 120_000,
  )
})
