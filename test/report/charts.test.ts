import { describe, expect, test } from 'vitest'
import { CHART } from '../../src/report/chart-frame.js'
import { noiseAxis, noiseChart } from '../../src/report/noise-chart.js'
import { responseAxis, responseChart } from '../../src/report/response-chart.js'
import type { OutputResult } from '../../src/verdict/result.js'
import { healthyResult } from './sample-result.js'

const [output] = healthyResult().outputs
const FREQ_HZ = [20, 200, 2000, 20_000]
const AXIS = { levelMin: -30, levelMax: 10, step: 10 }

/** Points of a path of straight lines: M and L (or nothing) with x,y. */
function pointsOf(svg: string, kind: string): [number, number][] {
  const path = new RegExp(`class="${kind}" d="([^"]*)"`).exec(svg)?.[1] ?? ''
  return [...path.matchAll(/(-?[\d.]+),(-?[\d.]+)/g)].map(([, x, y]) => [Number(x), Number(y)])
}

function drawn(levelDb: (number | null)[], maskMinDb: (number | null)[], maskMaxDb: (number | null)[]): string {
  const response = { freqHz: FREQ_HZ, levelDb, maskMinDb, maskMaxDb, referenceHz: 200 }
  return responseChart({ ...output, response } as OutputResult, response, AXIS).text.replaceAll('\u00a0', ' ')
}

const { left, right, top, bottom } = CHART
const third = (right - left) / 3

describe('the response', () => {
  // Truth: closed form. Three decades from edge to edge, so a decade is a third of the width; -30 to +10 dB from bottom to
  // top, so 10 dB is a quarter of the height. Coordinates are rounded to 0.1.
  test('lies where log frequency and dB put it', () => {
    const svg = drawn([-30, -20, 0, 10], [null, null, null, null], [null, null, null, null])
    const height = bottom - top
    const wanted = [
      [left, bottom],
      [left + third, bottom - height / 4],
      [left + 2 * third, bottom - (3 * height) / 4],
      [right, top],
    ]
    const points = pointsOf(svg, 'curve')
    expect(points).toHaveLength(4)
    points.forEach(([x, y], i) => {
      expect(Math.abs(x - wanted[i][0])).toBeLessThan(0.06)
      expect(Math.abs(y - wanted[i][1])).toBeLessThan(0.06)
    })
  })

  test('is marked only where it is outside its mask', () => {
    const mask: [number[], number[]] = [
      [-1, -1, -1, -1],
      [1, 1, 1, 1],
    ]
    expect(drawn([0, 0.9, -0.9, 0], ...mask)).not.toContain('class="outside"')
    const points = pointsOf(drawn([0, 6, 6, 0], ...mask), 'outside')
    expect(points.map(([x]) => Math.round(x))).toEqual([Math.round(left + third), Math.round(left + 2 * third)])
    expect(drawn([0, 6, 6, 0], [null, null, null, null], [null, null, null, null])).not.toContain('class="outside"')
  })

  test('says in words what it shows', () => {
    const svg = drawn([0, 0, 0, 0], [null, null, null, null], [null, null, null, null])
    expect(svg).toContain(`Response of output 1 ${output.label}`)
    expect(svg).toContain('Level in dB re 200 Hz')
    expect(svg).toContain('Expected flat ± 1 dB')
  })
})

test('one axis fits all responses: it reaches over the highest, and no curve makes it endless', () => {
  const withPeak = (peakDb: number): OutputResult => ({
    ...output,
    response: { ...output.response!, levelDb: output.response!.levelDb.map(() => peakDb) },
  })
  expect(responseAxis([output, withPeak(9)]).levelMax).toBeGreaterThanOrEqual(9)
  expect(responseAxis([output, withPeak(300)]).levelMax).toBeLessThanOrEqual(40)
  expect(responseAxis([]).levelMax).toBeGreaterThan(0)
})

test('noise lines are named from low to high, and the axis holds all of them', () => {
  const noise = {
    ...output.noise!,
    lines: [
      { freqHz: 1000, levelDbv: -60, says: 'single line' },
      { freqHz: 50, levelDbv: -92, says: 'mains series, together −92.0 dBV' },
    ],
  }
  const noisy = { ...output, noise }
  const axis = noiseAxis([noisy])
  expect(axis.levelMax).toBeGreaterThan(-60)
  const svg = noiseChart(noisy, noise, axis).text.replaceAll('\u00a0', ' ')
  expect(svg).toContain('50 Hz at −92.0 dBV, mains series, together −92.0 dBV; 1 kHz at −60.0 dBV, single line')
  const letters = [...svg.matchAll(/class="letter" x="([\d.]+)"[^>]*>([a-z])</g)].map(([, x, letter]) => [
    letter,
    Number(x),
  ])
  expect(letters.map(([letter]) => letter)).toEqual(['a', 'b'])
  expect(letters[0][1]).toBeLessThan(letters[1][1] as number)
  expect(noiseChart(output, { ...noise, lines: [] }, axis).text).toContain('No line stands out.')
})
