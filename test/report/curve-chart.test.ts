import { describe, expect, test } from 'vitest'
import { CHART } from '../../src/report/chart-frame.js'
import { type CurveChartSpec, curveChart, linearAxis, percentAxis } from '../../src/report/curve-chart.js'

const { left, right, top, bottom } = CHART
const AXIS = { ...linearAxis([-40, 0], { unit: 'dB', spanMin: 0, isSigned: true }), min: -40, max: 0 }

const drawn = (spec: Partial<CurveChartSpec>): string =>
  curveChart({ id: 'it', title: 'Title', says: 'What it shows.', curves: [], axis: AXIS, ...spec }).text.replaceAll(
    '\u00a0',
    ' ',
  )

/** Path of a class, as it is written. */
const pathOf = (svg: string, kind: string): string => new RegExp(`class="${kind}" d="([^"]*)"`).exec(svg)?.[1] ?? ''
const pointsOf = (path: string): number[][] =>
  [...path.matchAll(/(-?[\d.]+)[, ](-?[\d.]+)/g)].map(([, x, y]) => [Number(x), Number(y)])

describe('a curve', () => {
  // Truth: closed form. 20 Hz to 20 kHz is three decades, so a decade is a third of the width; coordinates are rounded to 0.1.
  test('lies where log frequency and its axis put it', () => {
    const svg = drawn({ curves: [{ at: [20, 200, 20_000], values: [-40, -20, 0] }] })
    const wanted = [
      [left, bottom],
      [left + (right - left) / 3, (top + bottom) / 2],
      [right, top],
    ]
    const points = pointsOf(pathOf(svg, 'curve solid'))
    expect(points).toHaveLength(3)
    points.forEach((point, i) => {
      point.forEach((at, k) => {
        expect(Math.abs(at - wanted[i][k])).toBeLessThan(0.06)
      })
    })
  })

  test('over the level of the source has that along the bottom', () => {
    const svg = drawn({ curves: [{ at: [-40, 0], values: [0, -40] }], sourceDbfs: [-40, 0] })
    expect(pointsOf(pathOf(svg, 'curve solid'))).toEqual([
      [left, top],
      [right, bottom],
    ])
    expect(svg).toContain('dBFS at the source')
    expect(svg).not.toContain('>20k<')
  })

  test('after the first has dashes of its own', () => {
    const curve = { at: [20, 20_000], values: [0, 0] }
    const svg = drawn({ curves: [curve, curve, curve, curve, curve] })
    for (const dashes of ['solid', 'dashed', 'dotted', 'dashdot']) expect(svg).toContain(`class="curve ${dashes}"`)
    expect(svg.match(/class="curve /g)).toHaveLength(5)
  })
})

describe('a point', () => {
  test('that is at most that much is a hollow triangle, the others are dots', () => {
    const svg = drawn({ curves: [{ at: [100, 1000, 10_000], values: [-20, -20, -20], isAtMost: [false, true, true] }] })
    expect(pathOf(svg, 'dot').match(/h0/g)).toHaveLength(1)
    expect(pathOf(svg, 'atmost').match(/z/g)).toHaveLength(2)
  })

  test('outside the plot is not drawn over its edge', () => {
    const svg = drawn({ curves: [{ at: [5, 1000, 30_000], values: [-20, 300, -20], isAtMost: [false, false, true] }] })
    expect(pointsOf(pathOf(svg, 'dot').replaceAll('h0', ' '))).toEqual([[expect.any(Number), top]])
    expect(svg).not.toContain('class="atmost"')
  })

  test('is not drawn where nothing says that points are meant', () => {
    expect(drawn({ curves: [{ at: [100, 1000], values: [-20, -20] }] })).not.toMatch(/class="(?:dot|atmost)"/)
  })
})

describe('an uncertainty', () => {
  // 120 pixels for 40 dB: a line's width of 2 pixels is 0.67 dB, ± 0.33 dB.
  test('is a shade about the curve, unless the line itself is wider', () => {
    const curve = { at: [100, 1000], values: [-20, -20] }
    expect(drawn({ curves: [{ ...curve, u: [0.3, 0.3] }] })).not.toContain('class="sure"')
    const shade = pointsOf(pathOf(drawn({ curves: [{ ...curve, u: [10, 10] }] }), 'sure'))
    expect(shade.map(([, y]) => y)).toEqual([46, 46, 106, 106])
  })
})

describe('an axis', () => {
  test('reaches over all values, shows no less than asked for, and has whole steps', () => {
    const axis = linearAxis([-1.38, 0], { unit: 'dB', spanMin: 4, isSigned: true })
    expect(axis.min).toBeLessThanOrEqual(-2)
    expect(axis.max).toBeGreaterThanOrEqual(0.5)
    expect(axis.ticks.map(axis.inWords)).toContain('+1')
    expect(axis.ticks.map(axis.inWords)).toContain('−2')
  })

  test('goes no deeper than its floor, and stands on something where nothing was read', () => {
    expect(linearAxis([-300, -60], { unit: 'dB', spanMin: 40, floor: -140, isSigned: false }).min).toBe(-140)
    const under = linearAxis([-300, -200], { unit: 'dB', spanMin: 40, floor: -140, isSigned: false })
    expect(under.min).toBe(-140)
    expect(under.max).toBeGreaterThan(-121)
    const empty = linearAxis([], { unit: 'ms', spanMin: 0.2, isSigned: true })
    expect(empty.max - empty.min).toBeGreaterThanOrEqual(0.2)
    expect(linearAxis([0.05, 0.06], { unit: 'ms', spanMin: 0.2, isSigned: true }).ticks.map(empty.inWords)).toContain(
      '+0.05',
    )
  })

  test.each([
    [
      [0.002, 0.003],
      ['0.001', '0.01', '0.1'],
    ],
    [
      [0.00004, 11.5],
      ['0.0001', '0.001', '0.01', '0.1', '1', '10', '100'],
    ],
    [[], ['0.001', '0.01', '0.1']],
    [
      [0, 400],
      ['1', '10', '100'],
    ],
  ])('of per cent about %j has the decades %j', (values, ticks) => {
    const axis = percentAxis(values)
    expect(axis.ticks.map(axis.inWords)).toEqual(ticks)
  })

  test('of per cent holds a zero at its foot, with no number that is none', () => {
    const svg = drawn({ axis: percentAxis([0.01]), curves: [{ at: [100, 1000], values: [0, 0.01], u: [1, 1] }] })
    expect(svg).not.toMatch(/NaN|Infinity/)
  })
})
