/** linetrue report: what it reads, where it writes, and what it refuses. */
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, expect, test, vi } from 'vitest'
import { paperOfLocale, reportCommand } from '../../src/cli/report.js'
import { stagedResult } from '../report/sample-result.js'

const folder = mkdtempSync(join(tmpdir(), 'linetrue-report-command-'))
afterAll(() => rmSync(folder, { recursive: true, force: true }))
vi.spyOn(process.stdout, 'write').mockReturnValue(true)

function runWith(name: string, result: object): string {
  const run = join(folder, name)
  mkdirSync(run)
  writeFileSync(join(run, 'result.json'), JSON.stringify(result))
  return run
}

const EARLIER = runWith('run-20260401-100000', stagedResult(true, { outputCount: 6 }))
const RETEST = runWith('run-20260402-100000', {
  ...stagedResult(false, { outputCount: 6 }),
  retestOf: 'run-20260401-100000',
})

test('a retest is held against the run before it, by the uncertainties of both', async () => {
  const out = join(folder, 'retest.html')
  expect(await reportCommand({ run: RETEST, reader: 'shop', paper: 'letter', out })).toBe(0)
  const html = readFileSync(out, 'utf8')
  expect(html).toContain('Before and after')
  expect(html).toContain('@page{size:letter}')
  await expect(reportCommand({ run: RETEST, reader: 'shop', out })).rejects.toThrow(
    'there is a file of that name already',
  )
})

test('a result from before there were stages makes a report too', async () => {
  const { stages: _, settings: __, retestOf: ___, ...old } = stagedResult(true, { outputCount: 2 })
  const run = runWith('run-20250101-100000', { ...old, version: 2 })
  const out = join(folder, 'old.html')
  await reportCommand({ run, reader: 'tuner', out })
  expect(existsSync(out)).toBe(true)
})

test.each([
  [{ run: EARLIER, reader: 'owner' }, 'there is no "owner" (--for). Write shop, customer or tuner.'],
  [{ run: EARLIER, reader: 'shop', paper: 'a3' }, 'there is no "a3" (--paper). Write a4 or letter.'],
  [{ run: folder, reader: 'shop' }, 'this folder holds no result.json'],
  [{ run: EARLIER, reader: 'shop', out: join(EARLIER, 'more.html') }, 'a run is never changed after its end'],
])('%j is refused in one line', async (options, says) => {
  await expect(reportCommand(options)).rejects.toThrow(says)
})

// POSIX.1-2017, 8.2: LC_ALL before the category, the category before LANG; an empty one counts as not set.
test.each([
  [{}, 'a4'],
  [{ LANG: 'en_US.UTF-8' }, 'letter'],
  [{ LANG: 'en_US.UTF-8', LC_PAPER: 'de_DE.UTF-8' }, 'a4'],
  [{ LC_ALL: '', LC_PAPER: 'fr_CA.UTF-8' }, 'letter'],
  [{ LC_ALL: 'C', LANG: 'en_US.UTF-8' }, 'a4'],
])('the locale %j goes with %s', (environment, size) => {
  expect(paperOfLocale(environment)).toBe(size)
})
