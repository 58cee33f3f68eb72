/** Results of other versions. Truth: a result of this version with what the other one lacks taken out. */
import { expect, test } from 'vitest'
import { parseResult } from '../../src/archive/read-result.js'
import { summaryOf } from '../../src/archive/summary.js'
import { RESULT_VERSION } from '../../src/verdict/result.js'
import { plainResult } from './sealed-runs.js'

const result = plainResult({ vin: '1LT', platform: null })

test('a result of version 2, which knew no stages, is shown with empty ones', () => {
  const { settings: _settings, stages: _stages, retestOf: _retestOf, ...old } = result
  const { platform: _platform, ...job } = result.job
  const read = parseResult(JSON.stringify({ ...old, version: 2, job }))
  expect(read.why).toBe('')
  expect(read.result).toEqual(result)
  expect(read.summary).toEqual({ ...summaryOf(result), resultVersion: 2 })
})

test.each([
  [RESULT_VERSION + 4, `is of version ${RESULT_VERSION + 4}, a newer one: this program reads 2 and ${RESULT_VERSION}`],
  [1, `is of version 1, an older one: this program reads 2 and ${RESULT_VERSION}`],
])('of a result of version %i, what can be told is told', (version, says) => {
  const { outputs: _outputs, ...rest } = result
  const read = parseResult(JSON.stringify({ ...rest, version, outputs: 'elsewhere', job: { ...result.job, plate: 7 } }))
  expect(read.result).toBeNull()
  expect(read.why).toContain(says)
  const { job, verdict, startedAt } = read.summary!
  expect({ verdict, startedAt, vin: job.vin, plate: job.plate }).toEqual({
    verdict: result.verdict,
    startedAt: result.startedAt,
    vin: '1LT',
    plate: null,
  })
})

test.each([
  ['{"format": "lin', 'is not whole: it is no JSON'],
  ['[]', 'holds something else'],
  ['{"format":"linetrue-result"}', 'names no version'],
  [JSON.stringify({ ...result, outputs: null }), 'is not as it should be: outputs'],
])('what is no result is said: %s', (text, says) => {
  expect(parseResult(text)).toMatchObject({ result: null, why: expect.stringContaining(says) })
})
