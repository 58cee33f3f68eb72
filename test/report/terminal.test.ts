import { describe, expect, test } from 'vitest'
import { terminalReport } from '../../src/report/terminal.js'
import { clean, widthOf } from '../../src/report/text.js'
import type { Result } from '../../src/verdict/result.js'
import { withHostileTexts } from './hostile.js'
import { faultyResult, healthyResult } from './sample-result.js'

const reportPath = 'captures/quillon/run-20260401-143005/report.html'
const plainReport = (result: Result, columnCount = 80): string =>
  terminalReport(result, { isColour: false, columnCount, reportPath })

/** As it reads when lines are joined again. */
const flow = (text: string): string => text.replace(/\s+/g, ' ')
const withoutColour = (text: string): string => text.replace(/\u001b\[[\d;]*m/g, '')

const RESULTS: readonly (readonly [name: string, result: Result])[] = [
  ['a healthy vehicle', healthyResult()],
  ['a faulty vehicle', faultyResult()],
  ['two outputs', healthyResult({ outputCount: 2 })],
  ['32 outputs', healthyResult({ outputCount: 32 })],
  ['32 outputs, some faulty', faultyResult({ outputCount: 32 })],
  ['hostile names', withHostileTexts(faultyResult())],
]

describe.each(RESULTS)('%s', (_name, result) => {
  test.each([
    [20, 60],
    [60, 60],
    [79, 79],
    [80, 80],
    [101, 101],
    [200, 200],
  ])('in %d columns has no line wider than %d', (columnCount, widest) => {
    const lines = plainReport(result, columnCount).split('\n')
    for (const line of lines) expect(widthOf(line), line).toBeLessThanOrEqual(widest)
  })

  test('holds nothing but printable characters and line ends when colour is off', () => {
    expect(plainReport(result)).not.toMatch(/[\u0000-\u0009\u000b-\u001f\u007f-\u009f]/)
  })

  test('says the same with colour as without', () => {
    const coloured = terminalReport(result, { isColour: true, columnCount: 80, reportPath })
    expect(coloured).toContain('\u001b[')
    expect(withoutColour(coloured)).toBe(plainReport(result))
  })

  test('has one row for each output, and all of them are aligned', () => {
    const lines = plainReport(result).split('\n')
    const head = lines.findIndex((line) => /^ No Output .* Verdict$/.test(line))
    expect(head).toBeGreaterThan(0)
    const verdictAt = lines[head].indexOf('Verdict')
    const rows = lines.slice(head + 2, head + 2 + result.outputs.length)
    expect(rows.map((row) => Number.parseInt(row, 10))).toEqual(result.outputs.map(({ number }) => number))
    for (const row of rows) expect(widthOf(row.replace(/ (pass|FAIL|UNSURE)$/, '')), row).toBe(verdictAt - 1)
  })
})

test('the first line is the verdict and its reason, then the vehicle, then that it was simulated', () => {
  const lines = plainReport(faultyResult()).split('\n')
  expect(lines[0]).toMatch(/^FAIL {4}6 of 10 outputs fail: 2, 3, 4, 5, 6 and 9\./)
  expect(flow(lines.slice(1, 4).join(' '))).toContain('Velmora Quillon Estate 2025')
  expect(lines.slice(1, 5).join('\n')).toContain('SIMULATED')
  expect(plainReport(healthyResult({ isSimulated: false }))).not.toContain('SIMULATED')
})

test('the end says the verdict again, and where the report is', () => {
  const lines = plainReport(healthyResult()).split('\n')
  expect(lines.at(-2)).toBe('PASS    All 10 outputs are as the map says.')
  expect(lines.at(-1)).toBe(`Report  ${reportPath}`)
  const without = terminalReport(healthyResult(), { isColour: false, columnCount: 80, reportPath: null })
  expect(without).not.toContain('Report')
})

test('a path longer than a line is broken so that joined lines give it back', () => {
  const longPath = `/home/van/${'vehicle '.repeat(20)}/report.html`
  const lines = terminalReport(healthyResult(), { isColour: false, columnCount: 60, reportPath: longPath }).split('\n')
  expect(lines.slice(lines.lastIndexOf('Report') + 1).join('')).toBe(clean(longPath))
})

test('title, reason and next step of every finding are there, faults before what is only worth knowing', () => {
  const result = faultyResult()
  const text = flow(plainReport(result))
  for (const { title, because, next } of result.findings) {
    for (const part of [title, because, next]) expect(text).toContain(part)
  }
  expect(text.indexOf('FAIL Output 9')).toBeLessThan(text.indexOf('UNSURE Meter and capture'))
  expect(text.indexOf('UNSURE Meter and capture')).toBeLessThan(text.indexOf('note Delay was compared'))
})

// 40 rows of a terminal, one of them the prompt. The longest texts that the judge writes for three outputs.
test.each([2, 10, 32])(
  'with %d outputs and three findings, verdict and what to do stand on the last 39 rows',
  (outputCount) => {
    const faulty = faultyResult({ outputCount: Math.max(10, outputCount) })
    const result = { ...faulty, outputs: faulty.outputs.slice(0, outputCount), findings: faulty.findings.slice(1, 4) }
    const screen = flow(plainReport(result).split('\n').slice(-39).join('\n'))
    expect(screen).toContain(`FAIL ${result.summary}`)
    for (const { title, because, next } of result.findings) {
      for (const part of [title, because, next]) expect(screen).toContain(part)
    }
  },
)

test('however many findings there are, the last 23 rows tell the verdict, each of the first faults and the path', () => {
  const faulty = faultyResult()
  const many = Array.from({ length: 30 }, (_, i) => ({ ...faulty.findings[0], title: `Output ${i + 1} is dead` }))
  const screen = plainReport({ ...faulty, findings: many })
    .split('\n')
    .slice(-23)
    .join('\n')
  expect(screen).toContain('FAIL    6 of 10 outputs fail')
  expect(screen).toContain('Output 1 is dead')
  expect(screen).toContain(reportPath)
})

describe('a value whose check is no pass', () => {
  const rows = plainReport(faultyResult()).split('\n')
  const rowOf = (number: number): string => rows.find((row) => row.startsWith(`${String(number).padStart(3)} `))!

  test('has a mark beside it and a word at the end', () => {
    expect(rowOf(2)).toMatch(/inv! .* FAIL$/)
    expect(rowOf(6)).toMatch(/\+6\.1! .* FAIL$/)
    expect(rowOf(5)).toMatch(/−64! .*FAIL$/)
    expect(rowOf(1)).not.toMatch(/[!?]/)
    expect(rowOf(1)).toMatch(/pass$/)
    expect(rowOf(3)).toMatch(/ 4! .* FAIL$/)
    expect(rowOf(9)).toMatch(/–! .* FAIL$/)
    expect(rowOf(10)).toMatch(/UNSURE$/)
  })

  test('is named under the table where it has no column', () => {
    expect(flow(rows.join('\n'))).toMatch(/Not shown above: .*Crosstalk UNSURE \(10\)/)
    const wide = flow(plainReport(faultyResult(), 120))
    expect(wide).toMatch(/−50\?/)
    expect(wide).toContain('? could not be settled.')
    expect(wide).not.toMatch(/Crosstalk UNSURE \(10\)/)
  })
})

test('checks of the vehicle that are no pass are told with value, limit and reason; those that pass are not', () => {
  const text = flow(plainReport(faultyResult()))
  expect(text).toMatch(
    /UNSURE Meter agreement: capture 0\.64 V, meter 0\.61 V \(\+0\.4 dB\); expected within ± 0\.3 dB/,
  )
  expect(text).not.toContain('Pair balance')
})

test('what the job warns of is told', () => {
  expect(flow(plainReport(faultyResult()))).toContain('note VIN: its check digit is wrong')
})

test('a figure that is only "at most" is shown as such', () => {
  const rows = plainReport(healthyResult(), 200).split('\n')
  const row = rows.find((line) => line.startsWith('  2 '))!
  expect(row).toContain(' <−81 ')
})

test('a figure that is only "at least" is shown as such, and a small distortion is no 0.000', () => {
  const result = faultyResult()
  const [first, ...rest] = result.outputs
  const rowWith = (isAtMost: boolean): string => {
    const figures = first.figures.map((one) => (one.quantity === 'thd' ? { ...one, value: 0.0004, isAtMost } : one))
    const rows = plainReport({ ...result, outputs: [{ ...first, figures }, ...rest] }, 200).split('\n')
    return rows.find((line) => line.startsWith('  1 '))!
  }
  expect(rowWith(false)).toContain(' >0.0 ')
  for (const isAtMost of [false, true]) expect(rowWith(isAtMost)).toContain(' <0.001 ')
})

test('two notes of the rig are told, and how many more the report has', () => {
  const result = faultyResult()
  const text = flow(plainReport(result))
  expect(text).toContain(`note ${result.rig.notes[0]}`)
  expect(text).toContain(`note ${result.rig.notes[1]}`)
  expect(text).not.toContain('Input 4 turned')
  expect(text).toContain('1 more note on the rig in the report.')
  expect(flow(plainReport(healthyResult()))).not.toContain('note')
})
