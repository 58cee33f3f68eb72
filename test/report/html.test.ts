import { describe, expect, test } from 'vitest'
import { htmlReport } from '../../src/report/html.js'
import { clean } from '../../src/report/text.js'
import type { Result } from '../../src/verdict/result.js'
import { HOSTILE, withHostileTexts } from './hostile.js'
import { faultyResult, healthyResult } from './sample-result.js'

const RESULTS: readonly (readonly [name: string, result: Result])[] = [
  ['a healthy vehicle', healthyResult()],
  ['a faulty vehicle', faultyResult()],
  ['two outputs', healthyResult({ outputCount: 2 })],
  ['32 outputs', faultyResult({ outputCount: 32 })],
  ['hostile names', withHostileTexts(faultyResult())],
]

const ENTITIES: Readonly<Record<string, string>> = {
  '&lt;': '<',
  '&gt;': '>',
  '&quot;': '"',
  '&#39;': "'",
  '&amp;': '&',
}
/** What a reader reads: tags gone, entities read, spaces as one. */
const textOf = (html: string): string =>
  html
    .replace(/<style>.*?<\/style>/gs, ' ')
    .replace(/<[^>]*>/g, ' ')
    .replace(/&(?:lt|gt|quot|amp|#39);/g, (entity) => ENTITIES[entity])
    .replace(/\s+/g, ' ')
const spaced = (text: string): string => clean(text).replace(/\s+/g, ' ')

describe.each(RESULTS)('%s', (_name, result) => {
  const html = htmlReport(result)

  test('is one file that names nothing outside itself and runs nothing', () => {
    expect(html).not.toMatch(/<(?:script|iframe|object|embed|base|img|image|use|foreignObject)\b/i)
    // Every address is an anchor inside the page, but for the empty icon that keeps a browser from asking for one.
    const addresses = [...html.matchAll(/<[a-z][^>]*?\s(?:href|src|srcset|action|xlink:href)="([^"]*)"/gi)].map(
      ([, to]) => to,
    )
    expect(addresses.filter((to) => !to.startsWith('#') && to !== 'data:,')).toEqual([])
    expect(html).not.toMatch(/@import|url\((?!#)/)
  })

  test('every anchor leads to one place that is there', () => {
    const ids = [...html.matchAll(/\sid="([^"]*)"/g)].map(([, id]) => id)
    expect(new Set(ids).size).toBe(ids.length)
    for (const [, to] of html.matchAll(/href="#([^"]*)"/g)) expect(ids).toContain(to)
    for (const [, names] of html.matchAll(/aria-labelledby="([^"]*)"/g)) {
      for (const name of names.split(' ')) expect(ids).toContain(name)
    }
  })

  test('has no number that is none', () => {
    expect(textOf(html)).not.toMatch(/\b(?:NaN|Infinity|undefined|null)\b/)
    expect(html).not.toMatch(/\bd="[^"]*NaN/)
  })

  test('shows title, reason and next step of every finding', () => {
    const text = textOf(html)
    for (const { title, because, next } of result.findings) {
      for (const part of [title, because, next]) expect(text).toContain(spaced(part))
    }
  })

  test('shows expected, measured and why of every check', () => {
    const text = textOf(html)
    for (const { expected, measured, why } of [...result.checks, ...result.outputs.flatMap((one) => one.checks)]) {
      for (const part of [expected, measured, why]) expect(text).toContain(spaced(part))
    }
  })

  test('shows the record: vehicle, rig, takes with their digests, methods, cautions', () => {
    const text = textOf(html)
    const { job, rig, takes, cautions, outputs } = result
    const { warnings, vehicle, vin, plate, technician } = job
    const methods = outputs.flatMap(({ figures }) => figures.map(({ method }) => method.replace(/\/[^/]*$/, '')))
    for (const part of [vehicle, vin, plate, technician, ...warnings, rig.name, rig.capture, rig.meter, ...cautions]) {
      expect(text).toContain(spaced(part ?? ''))
    }
    for (const { sha256, source, faults } of takes) {
      for (const part of [sha256, source, ...faults]) expect(text).toContain(spaced(part))
    }
    if (_name !== 'hostile names') for (const method of new Set(methods)) expect(text).toContain(method)
  })
})

test('a hostile name is text in every place where it can stand', () => {
  const html = htmlReport(withHostileTexts(faultyResult()))
  expect(html).not.toMatch(/<(?:script|img|svg onload)/i)
  expect(html).not.toMatch(/[\u0000-\u0009\u000b-\u001f\u007f-\u009f\u202a-\u202e]/)
  // The words of each are there still.
  const text = textOf(html)
  for (const name of HOSTILE) expect(text).toContain(spaced(name))
  expect(html).toContain('&lt;script&gt;window.broken = 1&lt;/script&gt;')
})

test('SIMULATED is said in a band of its own where it was, and nowhere else', () => {
  expect(textOf(htmlReport(healthyResult()))).toContain('SIMULATED')
  const real = htmlReport(healthyResult({ isSimulated: false }))
  expect(real).not.toContain('SIMULATED')
})

test('the verdict and its reason come before all else, then findings, outputs, vehicle, sums, charts, record', () => {
  const html = htmlReport(faultyResult())
  const order = [
    '<h1',
    'id="findings"',
    'id="outputs"',
    'id="vehicle"',
    'id="sums"',
    'id="charts"',
    'id="rig"',
    'id="takes"',
    'id="methods"',
    'id="cautions"',
    'id="signatures"',
  ]
  const places = order.map((mark) => html.indexOf(mark))
  expect(places.every((place) => place > 0)).toBe(true)
  expect([...places].sort((a, b) => a - b)).toEqual(places)
})

test('a figure that could not be read, and one without an uncertainty, are said in words', () => {
  const result = healthyResult()
  const [first, ...rest] = result.outputs
  const figures = first.figures.map((figure) => ({ ...figure, value: null, u: null }))
  const checks = first.checks.map((check) => ({
    ...check,
    figure: check.figure && { ...check.figure, value: null, u: null },
  }))
  const html = htmlReport({ ...result, outputs: [{ ...first, figures, checks, response: null, noise: null }, ...rest] })
  expect(textOf(html)).toContain('not measured')
  expect(textOf(html)).not.toMatch(/\b(?:NaN|null|undefined)\b/)
})

test('curves with gaps, without a mask, with levels far outside the plot, or with no points at all are drawn', () => {
  const result = healthyResult({ outputCount: 4 })
  const [a, b, c, d] = result.outputs
  const none = (values: readonly unknown[]): null[] => values.map(() => null)
  const outputs: Result['outputs'] = [
    {
      ...a,
      response: { ...a.response!, levelDb: a.response!.levelDb.map((level, i) => (i % 7 === 0 ? null : level)) },
    },
    { ...b, response: { ...b.response!, maskMinDb: none(b.response!.freqHz), maskMaxDb: none(b.response!.freqHz) } },
    {
      ...c,
      response: { ...c.response!, levelDb: c.response!.levelDb.map((_, i) => (i % 2 === 0 ? -500 : 90)) },
      noise: { ...c.noise!, levelDbv: c.noise!.levelDbv.map(() => -400) },
    },
    {
      ...d,
      response: { freqHz: [], levelDb: [], maskMinDb: [], maskMaxDb: [], referenceHz: 1000 },
      noise: { freqHz: [], levelDbv: [], lines: [] },
    },
  ]
  const html = htmlReport({ ...result, outputs })
  expect(html).not.toMatch(/NaN|Infinity/)
  expect([...html.matchAll(/<svg[^>]* aria-labelledby="(?:response|noise)-\d+-title/g)]).toHaveLength(8)
})
