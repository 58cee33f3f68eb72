/** Finished runs for the tests of the archive, made by the functions that a run ends with. */
import { mkdirSync } from 'node:fs'
import { join } from 'node:path'
import { finishRun } from '../../src/archive/finish-run.js'
import type { Result } from '../../src/verdict/result.js'
import { healthyResult } from '../report/sample-result.js'

/** The sample result without its takes, which lie nowhere. */
export const plainResult = (job: Partial<Result['job']> = {}, more: Partial<Result> = {}): Result => {
  const result = healthyResult({ outputCount: 2, isSimulated: false })
  return { ...result, takes: [], ...more, job: { ...result.job, ...job } }
}

/** @param path of the run, relative to the archive */
export async function putRun(archive: string, path: string, result: Result): Promise<string> {
  const folder = join(archive, path)
  mkdirSync(folder, { recursive: true })
  await finishRun(folder, result, '<!doctype html><title>report</title>')
  return folder
}
