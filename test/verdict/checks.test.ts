import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import { estimate } from '../../src/measure/estimate.js'
import type { InputAnalysis } from '../../src/measure/input-analysis.js'
import { checksOf, delayLimitS } from '../../src/verdict/checks.js'
import { figureOf, held, worst } from '../../src/verdict/decision.js'
import type { Check, Verdict } from '../../src/verdict/parts.js'
import { analysisBy, quietAt } from '../kit/analysis.js'
import { butterworth, peaking } from '../kit/biquad.js'
import { FULL_SCALE_VRMS, measuresOf } from '../kit/vehicle.js'

describe('the decision rule', () => {
  // Truth: JCGM 106:2012 with a guard band of the whole expanded uncertainty. The rows around 1 are those of a
  // published example with u = 0.06, so U = 0.12: conforming at 95 % up to 0.9013, accepted up to 0.88 only.
  test.each<[number, number, { min?: number; max?: number }, Verdict]>([
    [0.88, 0.12, { max: 1 }, 'pass'],
    [0.8801, 0.12, { max: 1 }, 'unsure'],
    [0.95, 0.12, { max: 1 }, 'unsure'],
    [1, 0.12, { max: 1 }, 'unsure'],
    [1.12, 0.12, { max: 1 }, 'unsure'],
    [1.1201, 0.12, { max: 1 }, 'fail'],
    [1, 0, { max: 1 }, 'pass'],
    [1.0001, 0, { max: 1 }, 'fail'],
    [0.45, 0.1, { min: -0.5, max: 0.5 }, 'unsure'],
    [-0.45, 0.1, { min: -0.5, max: 0.5 }, 'unsure'],
    [0.39, 0.1, { min: -0.5, max: 0.5 }, 'pass'],
    [-0.61, 0.1, { min: -0.5, max: 0.5 }, 'fail'],
    [0.61, 0.1, { min: -0.5, max: 0.5 }, 'fail'],
    // Even a perfect reading cannot be passed when the uncertainty is larger than the limits.
    [0, 0.12, { min: -0.1, max: 0.1 }, 'unsure'],
    [5, 0.12, {}, 'pass'],
    [Number.NEGATIVE_INFINITY, 0.1, { max: -80 }, 'pass'],
    [Number.NaN, 0.1, { max: 1 }, 'unsure'],
    [0.5, Number.POSITIVE_INFINITY, { max: 1 }, 'unsure'],
  ])('holds %d with U = %d against %o as %s', (value, u, limit, verdict) => {
    expect(held(value, u, limit)).toBe(verdict)
  })

  test('lets a figure that is only at most pass, but never fail', () => {
    expect(held(0.8, 0.1, { max: 1 }, { isAtMost: true })).toBe('pass')
    expect(held(0.95, 0.1, { max: 1 }, { isAtMost: true })).toBe('unsure')
    expect(held(50, 0.1, { max: 1 }, { isAtMost: true })).toBe('unsure')
    // Below a lower limit, it is below it for certain; above it, it may yet be anything.
    expect(held(0.8, 0.1, { min: 1 }, { isAtMost: true })).toBe('fail')
    expect(held(50, 0.1, { min: 1 }, { isAtMost: true })).toBe('unsure')
  })

  test('turns all of that round for a figure that is at least', () => {
    expect(held(80, 1, { min: 75 }, { isAtLeast: true })).toBe('pass')
    expect(held(70, 1, { min: 75 }, { isAtLeast: true })).toBe('unsure')
    expect(held(70, 1, { max: 75 }, { isAtLeast: true })).toBe('unsure')
    expect(held(80, 1, { max: 75 }, { isAtLeast: true })).toBe('fail')
  })

  test('never passes what lies outside, nor fails what lies inside, and only doubts more with more uncertainty', () => {
    const number = fc.double({ min: -10, max: 10, noNaN: true })
    fc.assert(
      fc.property(
        number,
        fc.double({ min: 0, max: 5, noNaN: true }),
        fc.double({ min: 0, max: 5, noNaN: true }),
        (value, u, more) => {
          const limit = { min: -1, max: 1 }
          const verdict = held(value, u, limit)
          if (verdict === 'pass') expect(Math.abs(value)).toBeLessThanOrEqual(1)
          if (verdict === 'fail') expect(Math.abs(value)).toBeGreaterThan(1)
          expect([verdict, 'unsure']).toContain(held(value, u + more, limit))
        },
      ),
      { seed: 20_250_303 },
    )
  })

  test('takes the worst of several', () => {
    expect(worst([])).toBe('pass')
    expect(worst(['pass', 'unsure', 'pass'])).toBe('unsure')
    expect(worst(['unsure', 'fail', 'pass'])).toBe('fail')
  })
})

test('a figure keeps its method and says nothing in place of what is no number', () => {
  expect(figureOf('noise', 'dBV', null)).toBeNull()
  expect(
    figureOf(
      'noise',
      'dBV',
      estimate(-90.5, { calibration: 0.06, noise: 0.08, nothing: 0 }, 'm/1', { freqHz: 997, isAtMost: true }),
    ),
  ).toEqual({
    quantity: 'noise',
    value: -90.5,
    unit: 'dBV',
    // Twice the root of 0.06² + 0.08².
    u: 0.2,
    budget: [
      { source: 'calibration', u: 0.06 },
      { source: 'noise', u: 0.08 },
    ],
    isAtMost: true,
    isAtLeast: false,
    freqHz: 997,
    method: 'm/1',
  })
  const none = figureOf('noise', 'dBV', estimate(Number.NEGATIVE_INFINITY, { noise: Number.NaN }, 'm/1'))
  expect(none).toMatchObject({ value: null, u: null, budget: [] })
})

const jobOf = (outputs: readonly string[], limits = '') =>
  parseJob(
    `name: job\nvehicle: { model: Quillon }\n${limits}\noutputs:\n${outputs.map((line) => `  - { ${line} }\n`).join('')}`,
    'job.yaml',
  )

test('the limit of a delay is a twentieth of a period at the top of the band, where that is longer', () => {
  const [full, sub, fill] = jobOf([
    'number: 1, label: full, left: 1, right: 0, level_vrms: 1',
    'number: 2, label: sub, left: 1, right: 0, level_vrms: 1, band: { high_hz: 80 }',
    'number: 3, label: fill, left: 1, right: 0, level_vrms: 1, band: { high_hz: 7000 }',
  ]).outputs
  expect(delayLimitS(full, 0.1e-3)).toBe(0.1e-3)
  expect(delayLimitS(sub, 0.1e-3)).toBeCloseTo(0.625e-3, 12)
  expect(delayLimitS(fill, 0.1e-3)).toBe(0.1e-3)
})

describe('the checks of an output', () => {
  const job = jobOf([
    'number: 1, label: left, left: 1, right: 0, level_vrms: 2',
    'number: 2, label: right, left: 0, right: 1, level_vrms: 2',
    'number: 3, label: sub, left: 0.5, right: 0.5, level_vrms: 2, band: { high_hz: 80 }',
  ])
  const SUB = butterworth('low', 4, 80, 48_000)
  const gain = 2 / FULL_SCALE_VRMS
  const healthy = new Map<number, InputAnalysis>([
    [1, analysisBy({ left: gain })],
    [2, analysisBy({ left: 0, right: gain })],
    [3, analysisBy({ filter: SUB, left: gain / 2, right: gain / 2 })],
  ])
  const checksWith = (number: number, analysis: InputAnalysis): Check[] => {
    const measures = measuresOf(job, new Map([...healthy, [number, analysis]]))
    return checksOf(measures.find(({ lead }) => lead.outputNumber === number)!, job)
  }
  const checkWith = (name: string, number: number, analysis: InputAnalysis): Check =>
    checksWith(number, analysis).find((check) => check.name === name)!

  test('are one for each question, and all pass on a healthy output', () => {
    const names = [
      'identity',
      'level',
      'polarity',
      'crosstalk',
      'response',
      'delay',
      'thd',
      'thd+n',
      'noise',
      'noise A',
      'noise 468',
      'hum',
    ]
    for (const number of [1, 2, 3]) {
      const checks = checksWith(number, healthy.get(number)!)
      expect(checks.map(({ name }) => name)).toEqual(
        names.map((name) => (number === 3 && name === 'crosstalk' ? 'sides' : name)),
      )
      expect(checks.filter(({ verdict, why }) => verdict !== 'pass' || why !== '')).toEqual([])
    }
  })

  test('of a dead one are its level alone', () => {
    const checks = checksWith(1, analysisBy({ left: 0 }))
    expect(checks.map(({ name, verdict, expected, measured }) => [name, verdict, expected, measured])).toEqual([
      ['level', 'fail', '2.00 V', 'nothing but noise'],
    ])
  })

  test('hold the level against the tolerance with the uncertainty of the input', () => {
    // Truth: the input is known to 0.1 dB, the tolerance is 1 dB.
    const levelBy = (offsetDb: number): Check =>
      checkWith('level', 1, analysisBy({ left: gain * 10 ** (offsetDb / 20) }))
    expect(levelBy(-0.85).verdict).toBe('pass')
    expect(levelBy(-0.95)).toMatchObject({
      verdict: 'unsure',
      expected: '2.00 V ± 1 dB at 1 kHz',
      why: 'The limit lies within the uncertainty of ± 0.10 dB: calibrate the input against the meter.',
    })
    expect(levelBy(1.05).verdict).toBe('unsure')
    expect(levelBy(-3)).toMatchObject({ verdict: 'fail', measured: '1.42 V (−3.0 dB)' })
  })

  test('name the side that leaks, and say at most where noise hides it', () => {
    expect(checkWith('crosstalk', 1, analysisBy({ left: gain, right: gain * 10 ** (-40 / 20) }))).toMatchObject({
      verdict: 'fail',
      expected: 'left side alone, the other at −50.0 dB or less',
      why: 'It hears the other side as well.',
    })
    const clean = checkWith('crosstalk', 2, analysisBy({ left: 0, right: gain, errorDb: -80 }))
    expect(clean.verdict).toBe('pass')
    expect(clean.measured).toMatch(/^at most −\d+\.\d dB at /)
    expect(checkWith('crosstalk', 1, analysisBy({ left: gain / 2, right: gain / 2 }))).toMatchObject({
      verdict: 'fail',
      why: 'It hears both sides alike.',
    })
  })

  test('hold the balance of the sides and their polarity against each other', () => {
    expect(checkWith('sides', 3, analysisBy({ filter: SUB, left: gain / 2, right: gain / 4 }))).toMatchObject({
      verdict: 'fail',
      measured: 'left against right +6.0 dB',
      why: 'It hears one side more than the other.',
    })
    expect(checkWith('sides', 3, analysisBy({ filter: SUB, left: gain / 2, right: -gain / 2 }))).toMatchObject({
      verdict: 'fail',
      why: 'The two sides reach it in opposite polarity to the map.',
    })
  })

  test('hold polarity against the map, and leave it open where an all-pass is in the way', () => {
    expect(checkWith('polarity', 1, analysisBy({ left: -gain }))).toMatchObject({
      verdict: 'fail',
      expected: 'normal',
      measured: 'inverted',
    })
    const turned = checkWith('polarity', 1, {
      ...healthy.get(1)!,
      left: { ...healthy.get(1)!.left!, confidence: 0.7, rival: 0.3 },
    })
    expect(turned).toMatchObject({ verdict: 'unsure', measured: 'not settled' })
    expect(turned.why).toBe('Its phase fits no sign well (70 %): an all-pass or a time-variant effect is in the way.')
    // Fits well enough, but the other sign nearly as well.
    const close = checkWith('polarity', 1, {
      ...healthy.get(1)!,
      left: { ...healthy.get(1)!.left!, confidence: 0.95, rival: 0.85 },
    })
    expect(close.verdict).toBe('unsure')
  })

  test('hold the response against its mask and say where it leaves it', () => {
    const check = checkWith('response', 1, analysisBy({ filter: [peaking(100, 4, 1, 48_000)], left: gain }))
    expect(check).toMatchObject({ verdict: 'fail', expected: 'flat ± 1 dB, 20 Hz to 20.0 kHz' })
    expect(check.measured).toMatch(/^\+4\.0 dB at (9\d|10\d) Hz$/)
    expect(check.figure).toMatchObject({ quantity: 'flatness', unit: 'dB' })
    expect(check.figure!.value).toBeCloseTo(4, 1)
  })

  test('hold noise, hum and distortion against the job’s own limits', () => {
    const noisy = analysisBy({ left: gain }, 1e-3)
    // Truth: 1e-3 of a full scale of 4 V is 4 mV, -47.96 dBV; A lies 2.05 dB under it.
    expect(checkWith('noise', 1, noisy)).toMatchObject({
      verdict: 'fail',
      measured: '−48.0 dBV',
      expected: '−75.0 dBV or less',
    })
    expect(checkWith('noise A', 1, noisy)).toMatchObject({ verdict: 'fail', measured: '−50.0 dBV(A)' })
    const bent = {
      ...healthy.get(1)!,
      tones: healthy.get(1)!.tones.map((tone) => ({
        ...tone,
        thdRatio: 0.005,
        thdRatioU: 1e-5,
        thdIsAtMost: false,
        thdNRatio: 0.005,
      })),
    }
    expect(checkWith('thd', 1, bent)).toMatchObject({ verdict: 'fail', measured: '0.5 %', expected: '0.1 % or less' })
    expect(checkWith('thd+n', 1, bent)).toMatchObject({ verdict: 'fail', measured: '0.5 %', expected: '0.3 % or less' })
    const wider = jobOf(
      ['number: 1, label: left, left: 1, right: 0, level_vrms: 2'],
      'limits: { thd_pct_max: 1, noise_dbv_max: -40 }',
    )
    const [one] = measuresOf(wider, new Map([[1, { ...bent, idle: quietAt(1e-3), present: quietAt(1e-3) }]]))
    const verdicts = new Map(checksOf(one, wider).map(({ name, verdict }) => [name, verdict]))
    expect([verdicts.get('thd'), verdicts.get('noise')]).toEqual(['pass', 'pass'])
  })

  test('say not comparable where no other output was taken with it', () => {
    const alone = jobOf(['number: 1, label: left, left: 1, right: 0, level_vrms: 2'])
    const [one] = measuresOf(alone, new Map([[1, healthy.get(1)!]]))
    expect(checksOf(one, alone).find(({ name }) => name === 'delay')).toMatchObject({
      verdict: 'pass',
      measured: 'not comparable',
      why: 'No other output was taken together with it in patch 1.',
    })
  })
})
