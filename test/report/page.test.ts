/** The report as a browser shows and prints it. */
import { execFile } from 'node:child_process'
import { promisify } from 'node:util'
import { afterAll, describe, expect, test } from 'vitest'
import { htmlReport } from '../../src/report/html.js'
import type { Result } from '../../src/verdict/result.js'
import { needsTool } from '../tools.js'
import { ReportBrowser } from './browser.js'
import { withHostileTexts } from './hostile.js'
import { faultyResult, healthyResult } from './sample-result.js'

const browser = new ReportBrowser()
afterAll(() => browser.close())

const DESK = { width: 1280, height: 900 }
const PHONE = { width: 390, height: 844 }

const RESULTS: readonly (readonly [name: string, result: Result])[] = [
  ['a healthy vehicle', healthyResult()],
  ['a faulty vehicle', faultyResult()],
  ['two outputs', healthyResult({ outputCount: 2, isSimulated: false })],
  ['32 outputs', faultyResult({ outputCount: 32 })],
  ['hostile names', withHostileTexts(faultyResult())],
]

/** Opens every folded part of the page. */
const OPEN_ALL = "document.querySelectorAll('details').forEach((one) => { one.open = true })"

describe.each(RESULTS)('%s', (name, result) => {
  test('opens without a word on the console and asks for nothing but itself', async (context) => {
    needsTool(context, 'chromium')
    const { page, url, said, requested } = await browser.open(name, htmlReport(result))
    expect(said).toEqual([])
    expect(requested.filter((address) => address !== 'data:,')).toEqual([url])
    expect(await page.evaluate('window.broken')).toBeUndefined()
    expect(await page.evaluate('document.compatMode')).toBe('CSS1Compat')
    expect(await page.locator('html').getAttribute('lang')).toBe('en')
    expect(await page.title()).toMatch(/^(PASS|FAIL) · /)
  })

  test('has one h1, leaves no level of headings out, and every table and chart says what it is', async (context) => {
    needsTool(context, 'chromium')
    const { page } = await browser.open(name, htmlReport(result))
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
    const { page } = await browser.open(name, htmlReport(result))
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

/** A chart of each curve that the result holds, and two of a staircase: its gain and its THD. */
const chartCount = ({ outputs, sums }: Result): number =>
  outputs
    .flatMap(({ response, noise, readings: { distortion, staircase, crosstalk, groupDelay, volumes } }) => [
      ...[response, noise, distortion, staircase, staircase, crosstalk, groupDelay],
      volumes.length > 0,
    ])
    .filter(Boolean).length + sums.filter(({ freqHz }) => freqHz.length > 0).length

// What evaluate's functions see of the browser's elements; the project has no DOM types.
interface BoxLike {
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
  const { page } = await browser.open('a faulty vehicle', htmlReport(faultyResult()))
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
  const { page } = await browser.open('folds', htmlReport(faultyResult()))
  const noise = page.locator('#output-5 details', { hasText: 'Noise' }).filter({ hasText: 'A-weighted' }).first()
  const line = noise.locator('summary')
  expect(await noise.getAttribute('open')).toBeNull()
  expect(await line.textContent()).toContain('FAIL')
  await line.focus()
  await page.keyboard.press('Enter')
  expect(await noise.locator('table').first().isVisible()).toBe(true)
})

describe('on A4', () => {
  const printed = async (name: string, result: Result): Promise<{ pages: string[]; text: string }> => {
    // A page of its own: others have their folded parts opened.
    const { page } = await browser.open(`${name}, printed`, htmlReport(result))
    const pdf = await page.pdf({ format: 'A4', preferCSSPageSize: true, printBackground: true })
    const running = promisify(execFile)('pdftotext', ['-layout', '-enc', 'UTF-8', '-', '-'], { maxBuffer: 1 << 24 })
    running.child.stdin!.end(pdf)
    const { stdout } = await running
    return { pages: stdout.split('\f').slice(0, -1), text: stdout }
  }

  test('verdict, vehicle and what to do begin on the first page, and the figures are in the print', async (context) => {
    needsTool(context, 'chromium', 'pdftotext')
    const result = faultyResult()
    const { pages, text } = await printed('a faulty vehicle', result)
    // Lines of narrow cells lie side by side, so words are looked for one by one, and long ones without their breaks.
    const onFirst = [
      'FAIL',
      'SIMULATED',
      'Velmora',
      'Quillon',
      '2025',
      'LT 0010',
      'Output 9 subwoofer left is dead',
      'Next:',
    ]
    expect(onFirst.filter((part) => !pages[0].includes(part))).toEqual([])
    const inPrint = ['+6.1 dB at 80 Hz', '−62.0 dBV', 'inverted', '± 0.023 V', '+31.4 ppm', 'Signature', 'Airbags']
    expect(inPrint.filter((part) => !text.includes(part))).toEqual([])
    for (const { sha256 } of result.takes) expect(text.includes(sha256.slice(0, 32)), sha256).toBe(true)
  })

  test('every check is printed, and of the folded parts those that are open', async (context) => {
    needsTool(context, 'chromium', 'pdftotext')
    const { text } = await printed('a healthy vehicle', healthyResult())
    const checks = healthyResult().outputs.flatMap(({ checks }) => checks)
    // Each has its badge in the table of checks; beside them each output has one above its charts and one above its checks.
    expect(text.match(/PASS/g)!.length).toBeGreaterThan(checks.length)
    expect(text).not.toContain('Made of')
    const faulty = await printed('a faulty vehicle', faultyResult())
    for (const part of ['Undone by', 'Peaking, 80.4 Hz, −6.1 dB, Q 1.13', '1689789 ± 1']) {
      expect(faulty.text).toContain(part)
    }
  })

  test('ten outputs take no more than eight pages, and none is empty', async (context) => {
    needsTool(context, 'chromium', 'pdftotext')
    const { pages } = await printed('a healthy vehicle', healthyResult())
    expect(pages.length).toBeLessThanOrEqual(8)
    for (const page of pages) expect(page.trim().length).toBeGreaterThan(40)
  })
})
