/** The PDF as other programs see it: qpdf, and pdftotext, pdffonts and pdfimages of poppler. */
import { execFileSync } from 'node:child_process'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { pdfReport } from '../../src/report/pdf.js'
import { needsTool } from '../tools.js'
import { withHostileTexts } from './hostile.js'
import { stagedResult } from './sample-result.js'

const WITHOUT_CURVES = {
  response: null,
  noise: null,
  readings: {
    equalisation: null,
    lowEdge: null,
    highEdge: null,
    groupDelay: null,
    crosstalk: null,
    distortion: null,
    staircase: null,
    interruptions: [],
    volumes: [],
    whine: null,
  },
}

const folder = mkdtempSync(join(tmpdir(), 'linetrue-pdf-'))
afterAll(() => rmSync(folder, { recursive: true, force: true }))

// Curves of a few outputs are like those of all, and drawing them is what takes the time.
const ALL = stagedResult(true, { outputCount: 12 })
const STAGED = {
  ...ALL,
  outputs: ALL.outputs.map((output) =>
    [5, 6].includes(output.number) ? output : { ...output, ...WITHOUT_CURVES, checks: output.checks.slice(0, 3) },
  ),
}
const NAMES = ['shop', 'customer', 'tuner', 'hostile'] as const
const pathOf = (name: (typeof NAMES)[number]): string => join(folder, `${name}.pdf`)

// Made once: Letter is the shorter paper, so what fits its first page fits that of A4.
beforeAll(async () => {
  writeFileSync(pathOf('shop'), await pdfReport(STAGED, { pageSize: 'letter' }))
  writeFileSync(pathOf('customer'), await pdfReport(STAGED, { audience: 'customer' }))
  writeFileSync(pathOf('tuner'), await pdfReport(STAGED, { audience: 'tuner' }))
  writeFileSync(pathOf('hostile'), await pdfReport(withHostileTexts(stagedResult(true, { outputCount: 1 }))))
}, 60_000)

const run = (command: string, ...args: string[]): string =>
  execFileSync(command, args, { encoding: 'utf8', maxBuffer: 1 << 27 })
const pagesOf = (name: (typeof NAMES)[number]): string[] =>
  run('pdftotext', '-layout', '-enc', 'UTF-8', pathOf(name), '-').split('\f').slice(0, -1)
/** As it reads when lines are joined again. */
const flow = (text: string): string => text.replace(/[\s\u00a0]+/g, ' ')
const plainObjects = (name: (typeof NAMES)[number]): string =>
  execFileSync('qpdf', ['--qdf', '--object-streams=disable', pathOf(name), '-'], { maxBuffer: 1 << 27 }).toString(
    'latin1',
  )

describe.each(NAMES)('%s', (name) => {
  test('is whole by qpdf, and all its fonts are inside by pdffonts', (context) => {
    needsTool(context, 'qpdf', 'pdffonts')
    expect(run('qpdf', '--check', pathOf(name))).toContain('No syntax or stream encoding errors found')
    const fonts = run('pdffonts', pathOf(name)).trim().split('\n').slice(2)
    expect(fonts.length).toBeGreaterThan(0)
    // Columns from the right: object, generation, unicode, subset, embedded.
    for (const font of fonts) expect(font.trim().split(/\s+/).at(-5), font).toBe('yes')
    expect(run('pdfimages', '-list', pathOf(name)).trim().split('\n').slice(2)).toEqual([])
  })

  // ISO 19005-2: an output intent, the part in the metadata, nothing that runs or is fetched.
  test('says that it is PDF/A-2b, its language and its title, and holds nothing that runs', (context) => {
    needsTool(context, 'qpdf')
    const objects = plainObjects(name)
    for (const part of [
      '/OutputIntents',
      '/GTS_PDFA1',
      'pdfaid:part>2<',
      'pdfaid:conformance>B<',
      '/Lang',
      '/DisplayDocTitle true',
    ]) {
      expect(objects.includes(part), part).toBe(true)
    }
    for (const part of ['/JavaScript', '/JS', '/URI', '/Launch', '/EmbeddedFile', '/OpenAction']) {
      expect(objects.includes(part), part).toBe(false)
    }
  })

  test('has every word inside its pages', (context) => {
    needsTool(context, 'pdftotext')
    const boxes = run('pdftotext', '-bbox', pathOf(name), '-')
    const widthPt = Number(/<page width="([\d.]+)"/.exec(boxes)![1])
    expect(widthPt).toBeCloseTo(name === 'shop' ? 612 : 595.28, 1)
    const over = Array.from(boxes.matchAll(/xMin="([-\d.]+)" yMin="[-\d.]+" xMax="([-\d.]+)"[^>]*>([^<]*)/g))
      .filter(([, from, to]) => Number(from) < 20 || Number(to) > widthPt - 20)
      .map(([, , , word]) => word)
    expect(over).toEqual([])
  })
})

test('the first page of the report holds vehicle, verdict, every stage and every finding, the second all twelve outputs', (context) => {
  needsTool(context, 'pdftotext')
  const [first, ...others] = pagesOf('shop')
  const onFirst = [
    'FAIL',
    'SIMULATED',
    'Velmora Quillon',
    'LT 0010',
    'Next: Plug nothing in',
    'more after the table of outputs',
  ]
  expect(onFirst.filter((part) => !flow(first).includes(part))).toEqual([])
  for (const { number } of STAGED.outputs) expect(others[0]).toMatch(new RegExp(`^ *${number} `, 'm'))
  for (const { title } of STAGED.findings) expect(flow(first)).toContain(title)
  for (const { summary } of STAGED.stages) expect(flow(first)).toContain(flow(summary).slice(0, 60))
  const rest = flow(others.join(' '))
  expect(rest).toContain('What else to do')
  const figures = ['38.2 Ω', '61.2 mA', '82.1 Hz', '−62.0 dBV', '+31.4 ppm', '± 0.023 V', 'Signature', 'taken as done']
  expect(figures.filter((part) => !rest.includes(part))).toEqual([])
  for (const { sha256 } of STAGED.takes) expect(rest.includes(sha256.slice(0, 24)), sha256).toBe(true)
})

test('a hostile name is text, and a character without a glyph is seen as missing', (context) => {
  needsTool(context, 'pdftotext')
  const text = flow(pagesOf('hostile').join(' '))
  expect(text).toContain('<script>window.broken')
  expect(text).toContain('\ufffd\ufffd\ufffd')
  expect(text).not.toContain('フロント')
  expect(text.replaceAll(' ', '')).toContain('x'.repeat(60))
})

test("the customer's page is one page", (context) => {
  needsTool(context, 'pdftotext')
  expect(pagesOf('customer')).toHaveLength(1)
})
