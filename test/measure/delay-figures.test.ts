/** What a delay's uncertainty is made of. */
import { describe, expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import { delaySpreads, relativeDelay, type Timed } from '../../src/measure/delay-figures.js'

const [spec] = parseJob(
  'name: j\nvehicle: { model: m }\noutputs: [{ number: 1, label: one, left: 1, right: 0, level_vrms: 1 }]\n',
  'j.yaml',
).outputs

const timed = (delayS: number, delayU: number, side: 'left' | 'right'): Timed & { outputNumber: number } => ({
  patchName: 'a',
  spec,
  side,
  sweepsApartU: 3e-8,
  outputNumber: 1,
  excess: { delayS, delayU, sign: 1, confidence: 1, rival: 0 },
})

describe('the delay of one output against another', () => {
  // Truth: root of the sum of squares, expanded by 2; delayU of a fit is expanded already.
  test('read from one sweep has the two fits in its budget', () => {
    const [one, other] = [timed(0, 6e-8, 'left'), timed(1e-3, 8e-8, 'left')]
    expect(relativeDelay(other, [one, other])!.u).toBeCloseTo(1e-7, 12)
    expect(delaySpreads([one, other])[0].spreadS.u).toBeCloseTo(1e-7, 12)
  })

  test('read from two sweeps has the clock between them as well', () => {
    const [one, other] = [timed(0, 6e-8, 'left'), timed(1e-3, 8e-8, 'right')]
    const figure = relativeDelay(other, [one, other])!
    expect(figure.value).toBeCloseTo(1e-3, 12)
    expect(figure.u).toBeCloseTo(Math.hypot(6e-8, 8e-8, 6e-8), 12)
    expect(figure.budget.map(({ source }) => source)).toContain('clock between the sweeps')
    expect(delaySpreads([one, other])[0].spreadS.u).toBeCloseTo(figure.u, 12)
  })

  test('of the one that sets the time has its own fit alone', () => {
    const [one, other] = [timed(0, 6e-8, 'left'), timed(1e-3, 8e-8, 'right')]
    expect(relativeDelay(one, [one, other])!.u).toBeCloseTo(6e-8, 12)
  })
})
