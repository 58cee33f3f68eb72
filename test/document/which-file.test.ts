/** A job given for a rig, and a rig for a job: one line, not one for each field. Truth: the files of this project. */
import { readdirSync, readFileSync } from 'node:fs'
import { expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import { parseRig } from '../../src/rig/parse.js'
import { stopOf } from './stop-of.js'

const JOBS = readdirSync('captures').map((name) => `captures/${name}/job.yaml`)
const RIGS = readdirSync('rigs').map((name) => `rigs/${name}`)

test.each(JOBS)('%s is no rig', (path) => {
  expect(stopOf(() => parseRig(readFileSync(path, 'utf8'), path)).message).toBe(
    `this is a job file, a rig file is wanted (${path}). Name a rig file; ready ones are in rigs/.`,
  )
})

test.each(RIGS)('%s is no job', (path) => {
  expect(stopOf(() => parseJob(readFileSync(path, 'utf8'), path)).message).toBe(
    `this is a rig file, a job file is wanted (${path}). The job comes first: linetrue verify JOB --rig RIG.`,
  )
})

test('a job with a misspelt field, or one of both kinds, is told by its fields as ever', () => {
  expect(stopOf(() => parseJob('name: x\nvehicel: { model: y }\n', 'x')).message).not.toContain('is wanted')
  expect(stopOf(() => parseRig('name: x\nvehicle: {}\ncapture: {}\n', 'x')).message).not.toContain('is wanted')
})
