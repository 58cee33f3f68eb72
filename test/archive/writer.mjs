// One bay of the campaign: makes run after run in a shared folder by the functions of the program, and says each that ended.
// node writer.mjs DIST ARCHIVE SEED RESULT
import { readFileSync, writeFileSync } from 'node:fs'
import { basename, dirname, join, resolve } from 'node:path'
import { pathToFileURL } from 'node:url'

const [dist, archive, seed, resultPath] = process.argv.slice(2)
const load = (file) => import(pathToFileURL(resolve(dist, file)).href)
const { makeNewRunFolder } = await load('archive/run-folder.js')
const { RunJournal } = await load('archive/run-journal.js')
const { lockRun } = await load('archive/run-lock.js')
const { earlierRun } = await load('archive/earlier-run.js')
const { finishRun } = await load('archive/finish-run.js')

const result = JSON.parse(readFileSync(resultPath, 'utf8'))
const hash = '0'.repeat(64)
for (let n = 0; ; n++) {
  const job = resolve(archive, `vehicle-${(Number(seed) + n) % 5}`)
  const startedAt = new Date()
  const run = await makeNewRunFolder(job, startedAt)
  const lock = await lockRun(run.path)
  const retestOf = await earlierRun(job, null, run.path)
  const journal = await RunJournal.begin(run.path, {
    format: 'linetrue-run',
    version: 1,
    program: 'linetrue test',
    startedAt: startedAt.toISOString(),
    goneOnAt: [],
    of: { job: hash, rig: hash, calibration: null, faults: null, stages: 'outputs' },
    retestOf,
    patches: [],
    notes: [],
    instruments: null,
    meter: null,
    settings: [],
    stages: [],
    takes: [],
  })
  writeFileSync(join(run.path, 'takes', 'patch-1.wav'), `take ${seed} ${n}`)
  await journal.note({ notes: ['made by the campaign'] })
  await journal.release()
  const text = { ...result, startedAt: startedAt.toISOString(), retestOf, summary: `run ${seed} ${n}` }
  await finishRun(run.path, text, '<!doctype html>')
  await lock.release()
  process.stdout.write(`${basename(dirname(run.path))}/${basename(run.path)}\n`)
}
