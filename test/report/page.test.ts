/** The report as a browser shows and prints it. */
import { execFile } from 'node:child_process'
import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import { promisify } from 'node:util'
import { afterAll, describe, expect, test } from 'vitest'
import { htmlReport } from '../../src/report/html.js'
import { AUDIENCES } from '../../src/report/paper.js'
import type { Result } from '../../src/verdict/result.js'
import { needsTool } from '../tools.js'
import { ReportBrowser } from './browser.js'
import { withHostileTexts } from './hostile.js'
import { beforeOf, healthyResult, stagedResult } from './sample-result.js'

const browser = new ReportBrowser()
afterAll(() => browser.close())

const DESK = { width: 1280, height: 900 }
const PHONE = { width: 390, height: 844 }

// Each is made and opened once: both are slow, and no test changes it. Twelve outputs are the most for one first page.
const STAGED = stagedResult(true, { outputCount: 12 })
const HEALTHY = healthyResult()
const shown = (name: string, result: Result): readonly [name: string, result: Result, html: string] => [
  name,
  result,
  htmlReport(result),
]
const RESULTS = [
  shown('a faulty vehicle with all stages', STAGED),
  shown('two outputs', stagedResult(true, { outputCount: 2, isSimulated: false })),
  shown('hostile names', withHostileTexts(stagedResult(true, { outputCount: 2 }))),
]
const [FAULTY_NAME, , FAULTY_HTML] = RESULTS[0]
const [SMALL_NAME, SMALL, SMALL_HTML] = RESULTS[1]

/** Opens every folded part of the page. */
const OPEN_ALL = "document.querySelectorAll('details').forEach((one) => { one.open = true })"

describe.each(RESULTS)('%s', (name, result, html) => {
  test('opens without a word on the console and asks for nothing but itself', async (context) => {
    needsTool(context, 'chromium')
    const { page, url, said, requested } = await browser.open(name, html)
    expect(said).toEqual([])
    expect(requested.filter((address) => address !== 'data:,')).toEqual([url])
    expect(await page.evaluate('window.broken')).toBeUndefined()
    expect(await page.evaluate('document.compatMode')).toBe('CSS1Compat')
    expect(await page.locator('html').getAttribute('lang')).toBe('en')
    expect(await page.title()).toMatch(/^(PASS|FAIL) · /)
  })

  test('has one h1, leaves no level of headings out, and every table and chart says what it is', async (context) => {
    needsTool(context, 'chromium')
    const { page } = await browser.open(name, html)
    await page.evaluate(OPEN_ALL)
    const levels = await page
      .locator('h1, h2, h3, h4, h5, h6')
      .evaluateAll((all) => all.map((one) => Number(one.tagName[1])))
    expect(levels.filter((level) => level === 1)).toHaveLength(1)
    expect(levels[0]).toBe(1)
    levels.slice(1).forEach((level, i) => {
      expect(level - levels[i]).toBeLessThanOrEqual(1)
    })

    const tables = await page.locator('table').evaluateAll((all) =>
      (all as unknown as TableLike[]).map((one) => ({
        caption: one.caption?.textContent ?? '',
        columns: one.querySelectorAll('thead th[scope=col]').length,
        widths: [...one.rows].map((row) => row.cells.length),
        rows: one.querySelectorAll('tbody tr').length,
        headed: one.querySelectorAll('tbody tr > th[scope=row]:first-child').length,
      })),
    )
    expect(tables.length).toBeGreaterThan(result.outputs.length)
    for (const { caption, columns, widths, rows, headed } of tables) {
      expect(caption).not.toBe('')
      expect(columns).toBeGreaterThan(1)
      for (const width of widths) expect(width).toBe(columns)
      expect(headed).toBe(rows)
    }

    const charts = await page.locator('svg[role=img]').evaluateAll((all) =>
      (all as unknown as BoxLike[]).map((one) => {
        const box = one.getBoundingClientRect()
        const texts = [...one.querySelectorAll('text')].map((text) => text.getBoundingClientRect())
        return {
          title: one.querySelector('title')?.textContent ?? '',
          says: one.querySelector('desc')?.textContent ?? '',
          outside: texts.filter(
            (text) =>
              text.left < box.left - 1 ||
              text.right > box.right + 1 ||
              text.top < box.top - 1 ||
              text.bottom > box.bottom + 1,
          ).length,
        }
      }),
    )
    expect(charts).toHaveLength(chartCount(result))
    for (const { title, says, outside } of charts) {
      expect(title).not.toBe('')
      expect(says.length).toBeGreaterThan(20)
      expect(outside, title).toBe(0)
    }
  })

  test('nothing hangs over the side at 320, 390 and 1280 pixels', async (context) => {
    needsTool(context, 'chromium')
    const { page } = await browser.open(name, html)
    await page.evaluate(OPEN_ALL)
    for (const size of [{ width: 320, height: 568 }, PHONE, DESK]) {
      await page.setViewportSize(size)
      expect(await page.evaluate('document.documentElement.scrollWidth')).toBeLessThanOrEqual(size.width)
      // A caption that is as wide as its table is cut off where the table scrolls.
      const captions = await page
        .locator('caption > span')
        .evaluateAll((all) => all.map((one) => (one as unknown as BoxLike).getBoundingClientRect().right))
      expect(captions.length).toBeGreaterThan(result.outputs.length)
      if (name !== 'hostile names') for (const right of captions) expect(right).toBeLessThanOrEqual(size.width)
    }
  })
})

/** A chart of each curve and plot that the result holds, two of a staircase, and the strip of polarity and delay. */
const chartCount = ({ outputs, sums, stages }: Result): number =>
  outputs
    .flatMap(({ response, noise, readings: { distortion, staircase, crosstalk, groupDelay, volumes } }) => [
      ...[response, noise, distortion, staircase, staircase, crosstalk, groupDelay],
      volumes.length > 0,
    ])
    .filter(Boolean).length +
  stages.reduce((sum, { plots }) => sum + plots.length, 0) +
  (outputs.length > 0 ? 1 : 0) +
  sums.filter(({ freqHz }) => freqHz.length > 0).length

// What evaluate's functions see of the browser's elements; the project has no DOM types.
interface BoxLike {
  readonly textContent: string
  getBoundingClientRect(): { left: number; right: number; top: number; bottom: number }
  querySelector(what: string): { textContent: string } | null
  querySelectorAll(what: string): Iterable<BoxLike>
}
interface TableLike {
  caption: { textContent: string } | null
  rows: Iterable<{ cells: { length: number } }>
  querySelectorAll(what: string): { length: number }
}

// WCAG 2.2, 1.4.3: 4.5 to 1 for text; in sunlight less is not legible.
test('text stands out from what is behind it by 4.5 to 1 or more', async (context) => {
  needsTool(context, 'chromium')
  const { page } = await browser.open(FAULTY_NAME, FAULTY_HTML)
  await page.evaluate(OPEN_ALL)
  const weak = (await page.evaluate(CONTRAST_SCRIPT)) as string[]
  expect(weak).toEqual([])
})

/** Each element with text of its own, its colour against the nearest background that is no picture. */
const CONTRAST_SCRIPT = `(() => {
  const numbers = (colour) => colour.match(/[\\d.]+/g).map(Number)
  const linear = (c) => (c <= 0.03928 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4)
  const luminance = ([r, g, b]) => 0.2126 * linear(r / 255) + 0.7152 * linear(g / 255) + 0.0722 * linear(b / 255)
  const behind = (one) => {
    for (let at = one; at; at = at.parentElement) {
      const [r, g, b, a = 1] = numbers(getComputedStyle(at).backgroundColor)
      if (a > 0.99) return [r, g, b]
    }
    return [255, 255, 255]
  }
  const weak = []
  for (const one of document.body.querySelectorAll('*')) {
    if (![...one.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim())) continue
    const style = getComputedStyle(one)
    const [a, b] = [luminance(numbers(one.closest('svg') ? style.fill : style.color)), luminance(behind(one))]
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05)
    if (one.tagName !== 'title' && one.tagName !== 'desc' && ratio < 4.5) weak.push(one.tagName + ' ' + one.textContent + ' ' + ratio.toFixed(2))
  }
  return weak
})()`

test('folded parts open by the keyboard, and what is closed hides no fault: its line says FAIL', async (context) => {
  needsTool(context, 'chromium')
  const { page } = await browser.open('folds', FAULTY_HTML)
  const noise = page.locator('#output-5 details', { hasText: 'Noise' }).filter({ hasText: 'A-weighted' }).first()
  const line = noise.locator('summary')
  expect(await noise.getAttribute('open')).toBeNull()
  expect(await line.textContent()).toContain('FAIL')
  await line.focus()
  await page.keyboard.press('Enter')
  expect(await noise.locator('table').first().isVisible()).toBe(true)
})

// The page's own rules of accessibility, as axe-core has them from WCAG 2.2.
test.for(AUDIENCES)('axe finds nothing against the page for the %s', async (audience, context) => {
  needsTool(context, 'chromium')
  const html = audience === 'shop' ? SMALL_HTML : htmlReport(SMALL, { audience })
  const { page } = await browser.open(audience === 'shop' ? SMALL_NAME : audience, html)
  await page.evaluate(OPEN_ALL)
  // The page's own policy forbids scripts in it; the browser runs this one outside of the page.
  await page.evaluate(AXE)
  const violations = (await page.evaluate(
    'axe.run().then(({ violations }) => violations.map(({ id, nodes }) => id + ": " + nodes.map((one) => one.html).join(" | ")))',
  )) as string[]
  expect(violations).toEqual([])
})
const AXE = `${readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8')};0`

test('before and after stand side by side, with what changed and what is gone', async (context) => {
  needsTool(context, 'chromium')
  const before = beforeOf(STAGED, HEALTHY)
  const { page, said } = await browser.open('retest', htmlReport(HEALTHY, { before }))
  expect(said).toEqual([])
  const words = (await page.locator('#before-after').textContent())!.replaceAll('\u00a0', ' ')
  expect(words).toContain('Output 9 subwoofer left is dead')
  expect(words).toContain('Flatness+6.10 dB')
  const [left, right] = await page
    .locator('#before-after .pair svg')
    .evaluateAll((all) => all.map((one) => (one as unknown as BoxLike).getBoundingClientRect()))
  expect(left.right).toBeLessThanOrEqual(right.left)
  expect(left.top).toBe(right.top)
})

// Sizes of the papers: ISO 216, ANSI/ASME Y14.1; less the sheet's own margins of 12 mm to the left and right.
describe.each([
  ['A4', 210],
  ['Letter', 215.9],
] as const)('on %s', (format, paperMm) => {
  const printed = async (name: string, html: string): Promise<{ pages: string[]; text: string }> => {
    // A page of its own: others have their folded parts opened.
    const { page } = await browser.open(`${name}, printed`, html)
    const pdf = await page.pdf({ format, preferCSSPageSize: true, printBackground: true })
    const running = promisify(execFile)('pdftotext', ['-layout', '-enc', 'UTF-8', '-', '-'], { maxBuffer: 1 << 24 })
    running.child.stdin!.end(pdf)
    const { stdout } = await running
    return { pages: stdout.split('\f').slice(0, -1), text: stdout }
  }

  test('the first page holds vehicle, verdict, every stage, what to do, and how much more there is, the next the outputs', async (context) => {
    needsTool(context, 'chromium', 'pdftotext')
    const { pages, text } = await printed('faulty', FAULTY_HTML)
    // Lines of narrow cells lie side by side, so words are looked for one by one, and long ones without their breaks.
    const onFirst = ['FAIL', 'SIMULATED', 'Velmora', 'Quillon', 'LT 0010', 'Pin A2 ground', 'Next:', 'more after']
    expect(onFirst.filter((part) => !pages[0].includes(part))).toEqual([])
    for (const { number } of STAGED.outputs) expect(pages[1]).toMatch(new RegExp(`^ *${number} `, 'm'))
    for (const { title } of STAGED.findings) expect(pages[0].replace(/\s+/g, ' ')).toContain(title)
    for (const name of ['Harness pins', 'Outputs', 'Flat signal']) expect(pages[0]).toContain(name)
    expect(text).toContain('What else to do')
    const inPrint = [
      'Undone by',
      'Peaking, 80.4 Hz, −6.1 dB, Q 1.13',
      '± 0.023 V',
      '+31.4 ppm',
      '82.1 Hz',
      'Signature',
      'airbags',
    ]
    expect(inPrint.filter((part) => !text.includes(part))).toEqual([])
    for (const { sha256 } of STAGED.takes) expect(text.includes(sha256.slice(0, 32)), sha256).toBe(true)
    for (const page of pages) expect(page.trim().length).toBeGreaterThan(40)
  })

  test.for(RESULTS)('of %s no table or drawing is cut off', async ([name, , html], context) => {
    needsTool(context, 'chromium')
    const { page } = await browser.open(`${name}, printed`, html)
    const widthPx = Math.floor(((paperMm - 24) / 25.4) * 96)
    await page.setViewportSize({ width: widthPx, height: 1000 })
    await page.emulateMedia({ media: 'print' })
    const over = await page
      .locator('table, svg')
      .evaluateAll(
        (all, widest) =>
          (all as unknown as BoxLike[])
            .filter((one) => one.getBoundingClientRect().right > widest + 1)
            .map((one) => one.textContent.slice(0, 60)),
        widthPx,
      )
    await page.emulateMedia({ media: null })
    expect(over).toEqual([])
  })
})

test('ten outputs take no more than nine sheets of A4, and every check is printed', async (context) => {
  needsTool(context, 'chromium', 'pdftotext')
  const { page } = await browser.open('healthy, printed', htmlReport(HEALTHY, { pageSize: 'a4' }))
  const running = promisify(execFile)('pdftotext', ['-layout', '-', '-'], { maxBuffer: 1 << 24 })
  running.child.stdin!.end(await page.pdf({ preferCSSPageSize: true, printBackground: true }))
  const { stdout } = await running
  expect(stdout.split('\f').length - 1).toBeLessThanOrEqual(9)
  // Each has its badge in the table of checks; beside them each output has one above its charts and one above its checks.
  expect(stdout.match(/PASS/g)!.length).toBeGreaterThan(HEALTHY.outputs.flatMap(({ checks }) => checks).length)
  expect(stdout).not.toContain('Made of')
})
