/** The index of an archive. Truth: the runs that were put there; SQLite's own integrity check by another program. */
import { spawnSync } from 'node:child_process'
import {
  cpSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  renameSync,
  rmSync,
  truncateSync,
  utimesSync,
  writeFileSync,
} from 'node:fs'
import { hostname, tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, test } from 'vitest'
import { eachRun, findRuns, type Query } from '../../src/archive/find.js'
import { cacheFolder, indexFolderOf, type OpenIndex, openIndex } from '../../src/archive/index-file.js'
import { openDatabase } from '../../src/archive/index-tables.js'
import { JOURNAL_FILE } from '../../src/archive/run-journal.js'
import { lockRun } from '../../src/archive/run-lock.js'
import { faultyResult } from '../report/sample-result.js'
import { needsTool } from '../tools.js'
import { plainResult, putRun } from './sealed-runs.js'

let folder: string
let archive: string
const cacheBefore = process.env['LINETRUE_CACHE']
const DAY = '2026-04-01T14:30:05.000Z'
const ONE = 'estate/run-20260401-143005'
const TWO = 'estate/run-20260402-090000'
const THREE = 'van/run-20260310-100000'

beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'linetrue-index-'))
  const base = { startedAt: DAY, findings: [] }
  const estate = {
    vin: '123456A8XS1000001',
    plate: 'LT 0010',
    jobNumber: 'D-001',
    platform: 'quillon 3',
    technician: 'Bo Lind',
  }
  const { findings } = faultyResult({ outputCount: 10 })
  const first = join(folder, 'template')
  await putRun(
    first,
    ONE,
    plainResult({ ...estate, customer: '=HYPERLINK("x")' }, { ...base, verdict: 'fail', findings }),
  )
  await putRun(first, TWO, plainResult(estate, { ...base, verdict: 'pass', retestOf: 'run-20260401-143005' }))
  const van = {
    vehicle: 'Velmora Van 2021',
    vin: 'Z99',
    plate: null,
    jobNumber: 'E/7',
    platform: null,
    technician: 'Łucja 🚗 عمر',
    customer: null,
  }
  await putRun(first, THREE, plainResult({ ...van, name: 'x'.repeat(300) }, { ...base, verdict: 'unsure' }))
})
beforeEach(() => {
  archive = mkdtempSync(join(folder, 'archive-'))
  cpSync(join(folder, 'template'), archive, { recursive: true })
  process.env['LINETRUE_CACHE'] = join(archive, '.cache')
})
afterEach(() => {
  if (cacheBefore === undefined) delete process.env['LINETRUE_CACHE']
  else process.env['LINETRUE_CACHE'] = cacheBefore
})
afterAll(() => rmSync(folder, { recursive: true, force: true }))

async function using<T>(work: (index: OpenIndex) => T): Promise<T> {
  const index = await openIndex(archive)
  try {
    return work(index)
  } finally {
    await index.close()
  }
}
const found = (query: Query): Promise<string[]> =>
  using(({ db, says }) => {
    expect(says).toEqual([])
    return findRuns(db, query, 50).map(({ path }) => path)
  })

test('runs are found by all that is known of them, the newest first', async () => {
  expect(await found({})).toEqual([TWO, ONE, THREE])
  const queries: [Query, string[]][] = [
    [{ vin: '123456a8xs1000001' }, [TWO, ONE]],
    [{ vin: '1000001' }, [TWO, ONE]],
    [{ vin: '6A8' }, []],
    [{ plate: 'lt0010' }, [TWO, ONE]],
    [{ plate: 'LT-00' }, [TWO, ONE]],
    [{ jobNumber: 'e/7' }, [THREE]],
    [{ from: '2026-04-01', to: '2026-04-01' }, [ONE]],
    [{ to: '2026-03-31' }, [THREE]],
    [{ platform: 'quillon 3', verdict: 'pass' }, [TWO]],
    [{ finding: 'inverted' }, [ONE]],
    [{ technician: 'lind', words: 'inverted' }, [ONE]],
    [{ technician: 'łucja' }, [THREE]],
    [{ words: 'عمر' }, [THREE]],
    [{ customer: 'hyperlink' }, [ONE]],
    [{ words: 'estate' }, [TWO, ONE]],
    [{ words: `" OR "1` }, []],
  ]
  await using(({ db }) => {
    for (const [query, paths] of queries) {
      expect({ query, paths: findRuns(db, query, 50).map(({ path }) => path) }).toEqual({ query, paths })
    }
    expect([...eachRun(db, { platform: 'quillon' })].map(({ path }) => path)).toEqual([ONE, TWO])
    expect(findRuns(db, {}, 1)).toHaveLength(1)
  })
})

/** As if nobody had touched these folders for an hour: their times can be trusted. */
function settle(): void {
  const past = new Date(Date.now() - 3_600_000)
  for (const name of ['.', 'estate', 'van']) utimesSync(join(archive, name), past, past)
}

test('what came, went, moved or was finished since is seen, and nothing else is read again', async () => {
  settle()
  expect(await using(({ readCount }) => readCount)).toBe(3)
  expect(await using(({ readCount }) => readCount)).toBe(0)
  mkdirSync(join(archive, 'estate', 'run-20260403-080000'))
  writeFileSync(join(archive, 'estate', 'run-20260403-080000', JOURNAL_FILE), '{}')
  rmSync(join(archive, TWO), { recursive: true })
  renameSync(join(archive, 'van'), join(archive, 'bus'))
  expect(await found({})).toEqual(['estate/run-20260403-080000', ONE, 'bus/run-20260310-100000'])
  expect(await found({ state: 'unfinished' })).toEqual(['estate/run-20260403-080000'])
  await putRun(archive, 'estate/run-20260403-080000', plainResult({ jobNumber: 'F-1' }))
  expect(await found({ jobNumber: 'F-1', state: 'sealed' })).toEqual(['estate/run-20260403-080000'])
  // Not sealed, in a folder that changes: looked at for two reasons, and in the index once.
  await using(({ db }) => db.run("UPDATE run SET state = 'unreadable'"))
  mkdirSync(join(archive, 'estate', 'run-20260402-070000'))
  expect((await found({})).length).toBe(4)
  rmSync(join(archive, 'estate', 'run-20260402-070000'), { recursive: true })
  mkdirSync(join(archive, 'shop', 'lorry'), { recursive: true })
  await putRun(archive, 'shop/lorry/run-20260404-080000', plainResult({ jobNumber: 'F-2' }))
  await putRun(archive, 'estate/by-name', plainResult({ jobNumber: 'F-3' }, { startedAt: '2026-04-05T08:00:00.000Z' }))
  expect((await found({})).slice(0, 2)).toEqual(['estate/by-name', 'shop/lorry/run-20260404-080000'])
})

describe('an index that cannot be used', () => {
  const file = (): string => join(indexFolderOf(archive), 'index.db')

  test.each([
    ['is cut short', () => truncateSync(file(), 20_000), 'The index was broken'],
    ['is no database', () => writeFileSync(file(), 'x'.repeat(5000)), 'The index was broken'],
    [
      'is of another version',
      () => {
        const db = openDatabase(file())
        db.exec('PRAGMA user_version = 999')
        db.close()
      },
      'The index was of another version',
    ],
  ])('because it %s is made anew, and nothing is lost', async (_why, spoil, says) => {
    await found({})
    spoil()
    const index = await openIndex(archive)
    expect(index.says).toEqual([expect.stringContaining(says)])
    expect(findRuns(index.db, {}, 9)).toHaveLength(3)
    await index.close()
    expect(await using((again) => again.says)).toEqual([])
  })

  test('because another command has it is done without, and that is said', async () => {
    await found({})
    const lock = await lockRun(indexFolderOf(archive))
    const index = await openIndex(archive)
    expect(index.says).toEqual([
      'The index is in use by another command: all folders are read instead, which takes longer.',
    ])
    expect(findRuns(index.db, { jobNumber: 'd001' }, 9)).toHaveLength(2)
    await index.close()
    await lock.release()
  })

  test('because its folder cannot be made is done without, and that is said', async () => {
    writeFileSync(join(archive, '.cache'), '')
    expect(await using(({ says, db }) => [says, findRuns(db, {}, 9).length])).toEqual([
      [expect.stringMatching(/^There can be no index at .* \(E\w+\): all folders are read instead/)],
      3,
    ])
  })

  test('because a command was killed in it is taken over', async () => {
    await found({})
    mkdirSync(`${file()}.lock`)
    writeFileSync(
      join(indexFolderOf(archive), '.lock'),
      JSON.stringify({ pid: 2 ** 22 + 1, host: hostname(), began: null }),
    )
    expect(await using(({ says, readCount }) => [says, readCount])).toEqual([[], expect.any(Number)])
    expect(readdirSync(indexFolderOf(archive))).toEqual(['index.db'])
  })
})

test("SQLite's own check, by another build of it, finds the index whole after runs came and went", async (context) => {
  needsTool(context, 'scipy')
  await found({})
  await putRun(archive, 'van/run-20260405-080000', plainResult({}))
  rmSync(join(archive, ONE), { recursive: true })
  await found({})
  const script = "import sqlite3,sys; print(sqlite3.connect(sys.argv[1]).execute('PRAGMA integrity_check').fetchall())"
  const { stdout, stderr } = spawnSync('/usr/bin/python3', ['-c', script, join(indexFolderOf(archive), 'index.db')], {
    encoding: 'utf8',
  })
  expect(stderr + stdout).toBe("[('ok',)]\n")
})

test('the index lies in the cache folder of the user', () => {
  expect(cacheFolder({ LINETRUE_CACHE: '/tmp/here' })).toBe('/tmp/here')
  if (process.platform !== 'linux') return
  expect(cacheFolder({ XDG_CACHE_HOME: '/home/me/.mine' })).toBe('/home/me/.mine/linetrue')
  expect(cacheFolder({ XDG_CACHE_HOME: 'not/absolute' })).toMatch(/\/\.cache\/linetrue$/)
})
