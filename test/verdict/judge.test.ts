import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import type { InputAnalysis } from '../../src/measure/input-analysis.js'
import { type Judgement, judge } from '../../src/verdict/judge.js'
import { Check, Finding } from '../../src/verdict/parts.js'
import { OutputResult } from '../../src/verdict/result.js'
import { analysisBy, quietAt } from '../kit/analysis.js'
import { butterworth } from '../kit/biquad.js'
import { FULL_SCALE_VRMS, findingsSaid, louder, measuresOf, type Taking } from '../kit/vehicle.js'

const jobOf = (lines: readonly string[]) =>
  parseJob(
    `name: job\nvehicle: { model: Quillon }\noutputs:\n${lines.map((line) => `  - { ${line}, level_vrms: 2 }\n`).join('')}`,
    'job.yaml',
  )
const GAIN = 2 / FULL_SCALE_VRMS
const SUB = butterworth('low', 4, 80, 48_000)

const job = jobOf([
  'number: 1, label: front left, left: 1, right: 0, pair: front',
  'number: 2, label: front right, left: 0, right: 1, pair: front',
  'number: 3, label: centre, left: 0.5, right: 0.5, band: { low_hz: 100 }',
  'number: 4, label: subwoofer, left: 0.5, right: 0.5, band: { high_hz: 80 }, delay_ms: 2',
])
const healthy: ReadonlyMap<number, InputAnalysis> = new Map([
  [1, analysisBy({ left: GAIN, seed: 1 })],
  [2, analysisBy({ left: 0, right: GAIN, seed: 2 })],
  [3, analysisBy({ filter: butterworth('high', 4, 100, 48_000), left: GAIN / 2, right: GAIN / 2, seed: 3 })],
  [4, analysisBy({ filter: SUB, left: GAIN / 2, right: GAIN / 2, delayS: 0.002, seed: 4 })],
])
const judgedWith = (changed: Iterable<readonly [number, InputAnalysis]> = [], taking: Taking = {}): Judgement =>
  judge(job, measuresOf(job, new Map([...healthy, ...changed]), taking), [], [])

describe('the summary', () => {
  test('of a healthy vehicle says so', () => {
    const { verdict, summary, findings } = judgedWith()
    expect([verdict, summary, findings]).toEqual(['pass', 'All 4 outputs are as the map says.', []])
  })

  test('leaves the spread of delays to a check that names the output that it cannot time', () => {
    const { expected } = judgedWith().checks.find(({ name }) => name.startsWith('delay spread'))!
    expect(expected).toContain('; left out: 4 (too low a band to be timed to this limit)')
  })

  test('counts and lists the outputs that fail and those that are not settled', () => {
    const unsettled = healthy.get(2)!
    const { verdict, summary } = judgedWith([
      [1, louder(healthy.get(1)!, -1)],
      [4, analysisBy({ left: 0 })],
      [2, { ...unsettled, right: { ...unsettled.right!, confidence: 0.6 } }],
    ])
    expect(verdict).toBe('fail')
    expect(summary).toBe('2 of 4 outputs fail: 1 and 4. 1 of 4 could not be settled: 2.')
  })

  test('says a finding that belongs to no single output', () => {
    const { verdict, summary } = judgedWith([[1, louder(healthy.get(1)!, 10 ** (0.8 / 20))]])
    expect(verdict).toBe('fail')
    expect(summary).toBe('Outputs 1 and 2 are not matched: +0.8 dB.')
  })
})

test('a judgement has the shape that the result’s schema publishes', () => {
  const { outputs, checks, findings } = judgedWith([
    [1, louder(healthy.get(1)!, -1)],
    [4, analysisBy({ left: 0 })],
  ])
  for (const output of outputs) expect(OutputResult.parse(output)).toEqual(output)
  for (const check of checks) expect(Check.parse(check)).toEqual(check)
  for (const finding of findings) expect(Finding.parse(finding)).toEqual(finding)
  expect(outputs.map(({ number }) => number)).toEqual([1, 2, 3, 4])
  expect(outputs[3]).toMatchObject({ identifiedAs: null, verdict: 'fail' })
  // Every number that is shown is one: nothing is NaN or without end.
  const numbers = JSON.stringify({ outputs, checks, findings }).match(/:null/g)
  expect(numbers).not.toBeNull()
  expect(JSON.parse(JSON.stringify({ outputs, checks, findings }))).toEqual({ outputs, checks, findings })
})

test('findings stand in the order of their weight: what fails, what is unsure, what is worth knowing', () => {
  const unsettled = healthy.get(2)!
  const { findings } = judgedWith(
    [
      [2, { ...unsettled, right: { ...unsettled.right!, confidence: 0.6 } }],
      [4, analysisBy({ left: 0 })],
    ],
    { patchOf: (number) => (number < 3 ? 'front' : 'rest') },
  )
  expect(findings.map(({ kind, verdict }) => `${kind} ${verdict}`)).toEqual([
    'dead fail',
    'inverted unsure',
    'rig pass',
  ])
})

describe('findings say what, why and what to do next', () => {
  test('inverted', () => {
    const [finding] = judgedWith([[1, louder(healthy.get(1)!, -1)]]).findings
    expect(finding).toMatchObject({
      kind: 'inverted',
      outputs: [1],
      title: 'Output 1 front left is inverted',
      next: "Swap plus and minus of this output at the plug, or turn its polarity in the interface's set-up.",
    })
  })

  test('swapped', () => {
    const [finding] = judgedWith([
      [1, healthy.get(2)!],
      [2, healthy.get(1)!],
    ]).findings
    expect(finding).toMatchObject({
      kind: 'swapped',
      title: 'Outputs 1 front left and 2 front right are swapped',
      because: 'Lead 1 carries the sides, band and level of 2. Lead 2 carries the sides, band and level of 1.',
    })
  })

  test('dead', () => {
    const [finding] = judgedWith([[3, analysisBy({ left: 0 })]]).findings
    expect(finding).toMatchObject({
      kind: 'dead',
      title: 'Output 3 centre is dead',
      because: 'Nothing of the track reaches it; expected 2.00 V.',
    })
  })

  test('volume', () => {
    const all = [...healthy].map(([number, analysis]): [number, InputAnalysis] => [number, louder(analysis, 0.5)])
    const [finding] = judgedWith(all).findings
    // Truth: half is -6.02 dB.
    expect(finding).toMatchObject({ kind: 'volume', title: 'All outputs are −6.0 dB from the map' })
  })

  test('late, against the others of its patch', () => {
    const late = analysisBy({ left: GAIN, delayS: 0.003, seed: 1 })
    const [finding] = judgedWith([[1, late]]).findings
    expect(finding).toMatchObject({
      kind: 'late',
      because: 'Against the other outputs of patch 1; limit ± 0.10 ms.',
    })
    // The middle of the four lies between centre and subwoofer, whose own delay is known to some ten microseconds.
    expect(finding.title).toMatch(/^Output 1 front left is late by (2\.99|3\.00) ms$/)
  })
})

describe('delay', () => {
  test('is not compared across patches, which is said once', () => {
    const late = analysisBy({ left: GAIN, delayS: 0.003, seed: 1 })
    const judgement = judgedWith([[1, late]], { patchOf: (number) => (number === 1 ? 'first' : 'second') })
    expect(judgement.verdict).toBe('pass')
    expect(judgement.findings.map(({ kind, title }) => [kind, title])).toEqual([
      ['rig', 'Delay was compared inside each patch only'],
    ])
  })

  test('of two outputs is counted from the earlier one', () => {
    const two = jobOf(['number: 1, label: a, left: 1, right: 0', 'number: 2, label: b, left: 0, right: 1'])
    const analyses = new Map([
      [1, analysisBy({ left: GAIN, delayS: 0.001 })],
      [2, analysisBy({ left: 0, right: GAIN })],
    ])
    const measures = measuresOf(two, analyses)
    // Tolerance: a tenth of a microsecond, far above the noise of -120 dB.
    expect(measures[0].delayS!.value).toBeCloseTo(0.001, 7)
    expect(measures[1].delayS!.value).toBeCloseTo(0, 7)
  })
})

describe('outputs that are alike', () => {
  const four = jobOf([
    'number: 1, label: front left, left: 1, right: 0, fader: front',
    'number: 2, label: front right, left: 0, right: 1, fader: front',
    'number: 3, label: rear left, left: 1, right: 0, fader: rear',
    'number: 4, label: rear right, left: 0, right: 1, fader: rear',
  ])
  const [left, right] = [analysisBy({ left: GAIN }), analysisBy({ left: 0, right: GAIN })]
  const analyses = new Map([
    [1, left],
    [2, right],
    [3, left],
    [4, right],
  ])
  /** The rear falls by 40 dB; which leads are the rear's is for the test to say. */
  const faded = (rear: readonly number[]): ReadonlyMap<number, InputAnalysis> =>
    new Map([...analyses].map(([number, analysis]) => [number, louder(analysis, rear.includes(number) ? 0.01 : 1)]))

  test('are not guessed without a take that tells them apart', () => {
    const judgement = judge(four, measuresOf(four, analyses), [], [])
    expect(judgement.verdict).toBe('unsure')
    expect(findingsSaid(judgement)).toEqual(['alike 1,3 unsure', 'alike 2,4 unsure'])
    expect(judgement.findings[0].next).toBe(
      'Ask for the take with the fader to the front (extra_takes: [fader_front] in the job file).',
    )
  })

  test('pass with that take, and a swap of front and rear is found', () => {
    const healthyOnes = judge(four, measuresOf(four, analyses, { others: { fader_front: faded([3, 4]) } }), [], [])
    expect([healthyOnes.verdict, findingsSaid(healthyOnes)]).toEqual(['pass', []])
    const swapped = judge(four, measuresOf(four, analyses, { others: { fader_front: faded([1, 4]) } }), [], [])
    expect(findingsSaid(swapped)).toEqual(['swapped 1,3 fail'])
  })

  test('are harmless where the map gives both the same, and the vehicle passes', () => {
    const twins = jobOf([
      'number: 1, label: subwoofer one, left: 0.5, right: 0.5, band: { high_hz: 80 }',
      'number: 2, label: subwoofer two, left: 0.5, right: 0.5, band: { high_hz: 80 }',
    ])
    const sub = analysisBy({ filter: SUB, left: GAIN / 2, right: GAIN / 2 })
    const judgement = judge(
      twins,
      measuresOf(
        twins,
        new Map([
          [1, sub],
          [2, sub],
        ]),
      ),
      [],
      [],
    )
    expect(judgement.verdict).toBe('pass')
    expect(judgement.findings.map(({ kind, verdict, outputs }) => [kind, verdict, outputs])).toEqual([
      ['alike', 'pass', [1, 2]],
    ])
  })
})

test('an output that mutes itself is judged by its noise with a tone', () => {
  const muting = { ...healthy.get(1)!, idle: quietAt(1e-7), present: quietAt(2e-5) }
  const [one] = measuresOf(job, new Map([...healthy, [1, muting]]))
  expect(one.isMuting).toBe(true)
  // Truth: 2e-5 of 4 V is -81.94 dBV.
  expect(one.noiseDbv.value).toBeCloseTo(20 * Math.log10(2e-5 * FULL_SCALE_VRMS), 9)
})

test('noise within 6 dB of what the capture’s own word makes is at most', () => {
  // Truth: an ideal dithered word has q^2 / 4: of 16 bits -93.3 dBFS over half its rate.
  const at = (noiseFs: number): boolean => {
    const quiet = { ...healthy.get(1)!, idle: quietAt(noiseFs), present: quietAt(noiseFs) }
    return measuresOf(job, new Map([[1, quiet]]), { captureBits: 16 })[0].noiseDbv.isAtMost
  }
  expect(at(10 ** (-92 / 20))).toBe(true)
  expect(at(10 ** (-80 / 20))).toBe(false)
})

test('the order of inputs makes no difference, when the patch says so', () => {
  const changed = new Map([...healthy, [2, louder(healthy.get(2)!, -1)], [3, healthy.get(4)!], [4, healthy.get(3)!]])
  /** What was found, without where it was plugged in. */
  const foundBy = (analyses: ReadonlyMap<number, InputAnalysis>) => {
    const { verdict, summary, outputs, checks, findings } = judge(job, measuresOf(job, analyses), [], [])
    return {
      verdict,
      summary,
      checks: checks.map((check) => `${check.name} ${check.verdict} ${Math.abs(check.figure!.value!)}`),
      outputs: outputs.map((output) => ({ ...output, inputNumber: 0 })),
      findings: findings.map(({ kind, outputs: its }) => `${kind} ${[...its].sort()}`).sort(),
    }
  }
  const straight = foundBy(changed)
  expect(straight.findings).toEqual(['inverted 2', 'swapped 3,4'])
  fc.assert(
    fc.property(fc.shuffledSubarray([1, 2, 3, 4], { minLength: 4 }), (order) => {
      expect(foundBy(new Map(order.map((number) => [number, changed.get(number)!])))).toEqual(straight)
    }),
    { numRuns: 12, seed: 20_250_304 },
  )
})
