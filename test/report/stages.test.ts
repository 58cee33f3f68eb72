/** Stages, the customer's and the tuner's page as text: what has to stand there, and what must not. */
import { describe, expect, test } from 'vitest'
import { CUSTOMER_WORDS } from '../../src/report/customer-words.js'
import { codePointsOf, drawable } from '../../src/report/glyphs.js'
import { htmlReport } from '../../src/report/html.js'
import { markup } from '../../src/report/markup.js'
import { elementsIn, isElement, markupTree, wordsIn } from '../../src/report/markup-tree.js'
import { stagePlot } from '../../src/report/stage-plot.js'
import { terminalReport } from '../../src/report/terminal.js'
import { widthOf } from '../../src/report/text.js'
import { sumAfter, tuningsOf } from '../../src/report/tuning.js'
import { FINDING_KINDS } from '../../src/verdict/parts.js'
import type { StagePlot } from '../../src/verdict/stage-result.js'
import { stagedResult } from './sample-result.js'

const STAGED = stagedResult(true)
/** As it reads, without tags. */
const wordsOf = (html: string): string =>
  html
    .replace(/<style>.*?<\/style>/gs, ' ')
    .replace(/<[^>]*>/g, ' ')
    .replace(/[\s\u00a0]+/g, ' ')

test('every stage stands in the report with its summary, rows, plot, settings and notes', () => {
  const words = wordsOf(htmlReport(STAGED))
  for (const { summary, notes, tables, plots } of STAGED.stages) {
    for (const says of [summary, ...notes, ...plots.map(({ alt }) => alt)]) expect(words).toContain(says)
    for (const { rows } of tables) for (const { cells } of rows) for (const cell of cells) expect(words).toContain(cell)
  }
  expect(words).toContain('Peaking 82.1 Hz −4.1 dB 1.10')
  expect(words).toContain('60303ae22b998861')
  expect(words).toContain('amplifier gains down taken as done')
})

test('a run of single stages has a report and a terminal view without outputs', () => {
  const bare = { ...STAGED, outputs: [], checks: [], findings: [], takes: [], sums: [], source: null }
  const words = wordsOf(htmlReport(bare))
  expect(words).toContain('Pin A2 ground has no ground')
  expect(words).not.toContain('All outputs. Under a value')
  expect(terminalReport(bare, { isColour: false, columnCount: 80, reportPath: null })).not.toContain('No Output')
})

/** Words that the trade has to explain; a label from the job is the customer's own word for a place. */
const JARGON =
  /\b(polarity|invert\w*|dB\w*|THD|kHz|Hz|crosstalk|impedance|phase|sweep|mask|equalis\w*|verdict|harness|interface|bus|codec|lossy|clipp\w*|band|Q|RMS|rms|volts?|mV|mA|Ω|ohms?|calibrat\w*|uncertain\w*|outputs?|patch|rig|level|gain|shelf|crossover|frequency|signal-to-noise|standby|pins?)\b/g

describe("the customer's page", () => {
  const html = htmlReport(STAGED, { audience: 'customer' })

  test('says what was checked, found and will be done, without a word of the trade', () => {
    const words = wordsOf(html).replaceAll('SIMULATED: a model was measured, no vehicle.', '')
    expect(words).toContain('No sound arrives: subwoofer left')
    expect(words).toContain('What is done: Its two wires are exchanged.')
    expect(words.match(JARGON) ?? []).toEqual([])
  })

  test('has words for every kind of finding, none of them of the trade', () => {
    for (const kind of FINDING_KINDS) {
      const { found, done } = CUSTOMER_WORDS[kind]
      expect(`${found} ${done}`.match(JARGON) ?? [], kind).toEqual([])
    }
  })

  test('of a healthy vehicle says that nothing has to be done', () => {
    const words = wordsOf(htmlReport(stagedResult(false), { audience: 'customer' }))
    expect(words).toContain('Everything that was checked is in order.')
  })
})

test("the tuner's page has trim, polarity, delay, band, sections and the gains sheet", () => {
  const words = wordsOf(htmlReport(STAGED, { audience: 'tuner' }))
  for (const part of [
    'Output 2 front right high is inverted',
    'inverted: turn it',
    'from 3 kHz, 24 dB/oct',
    '6 rear right, 1 of 2 Peaking 80.4 Hz −6.1 dB 1.13',
    '6.3 kHz, −10 dBFS 12.2',
  ]) {
    expect(words).toContain(part)
  }
  // Swapped: what was read of it belongs to another output.
  expect(words).toContain('3 front left low Repair first: Outputs 3 front left low and 4 front right low are swapped.')
  expect(words).not.toContain('3 front left low, 1 of 2')
})

// Closed form: a cookbook peak has its whole gain at its centre, so a +5 dB peak there reads 5 dB more before it is undone.
test('a trim leaves out what the sections undo, a sum what the trims do, and a late output moves no other', () => {
  const { outputs } = stagedResult(false)
  const [first, second, third] = outputs.map((output, i) => ({
    ...output,
    patch: 'patch 1',
    figures: output.figures
      .filter(({ quantity }) => !['level deviation', 'delay'].includes(quantity))
      .concat(
        ...[
          { quantity: 'level deviation', value: i === 0 ? 5 : 0, unit: 'dB' as const },
          { quantity: 'delay', value: i === 2 ? 0.005 : 0, unit: 's' as const },
        ].map((one) => ({ ...output.figures[0], ...one })),
      ),
  }))
  const freqHz = first.figures.find(({ quantity }) => quantity === 'level')?.freqHz ?? first.response!.referenceHz
  const late = {
    kind: 'late' as const,
    verdict: 'fail' as const,
    outputs: [third.number],
    title: 'late',
    because: '',
    next: '',
  }
  const result = { ...STAGED, outputs: [first, second, third], findings: [late], stages: [] }
  const sections = [{ kind: 'peaking' as const, freqHz, gainDb: -5, q: 1.5 }]
  const tunings = tuningsOf(result, [{ of: 'first', outputs: [first.number], sections, leavesDb: 0 }])
  expect(tunings[0].trimDb).toBeCloseTo(0, 9)
  expect(tunings.map(({ delayS }) => delayS)).toEqual([0, 0, null])
  expect(tunings[2]).toMatchObject({ trimDb: null, repair: 'late' })
  const setting = { output: second.number, extraDelayS: 0, extraDelayU: 0, gainDb: 5, gainU: 0, isTurned: false }
  const sum = { ...STAGED.sums[0], outputs: [first.number, second.number], settings: [setting] }
  expect(sumAfter(sum, tunings).settings[0].gainDb).toBeCloseTo(0, 9)
})

test('a run of another vehicle is said to be one', () => {
  const other = { ...STAGED, job: { ...STAGED.job, vin: '123456A8XS1000009' } }
  const words = wordsOf(htmlReport(STAGED, { before: { result: other, changes: [] } }))
  expect(words).toContain('The run before is of another vehicle: VIN 123456A8XS1000009 before')
})

test('the terminal shows what is not in order of each stage, what is to be typed in, and no line over 80 columns', () => {
  const text = terminalReport(STAGED, { isColour: false, columnCount: 80, reportPath: null })
  for (const line of text.split('\n')) expect(widthOf(line), line).toBeLessThanOrEqual(80)
  expect(text).toMatch(/^ {6}! A2 ground {2}≤ 1\.0 Ω {3}38\.2 Ω$/m)
  expect(text).not.toContain('A1 supply')
  expect(text).toMatch(/^ {8}3 front left low {2}Peaking {5}82\.1 Hz {4}−4\.1 dB {2}1\.10$/m)
  expect(text).toContain('Standby current is 61.2 mA, more than 50 mA.')
})

const PLOT: StagePlot = {
  caption: 'Current',
  alt: 'It falls.',
  x: { says: 'time (min)', scale: 'linear' },
  y: { says: 'current (mA)', scale: 'log' },
  series: [{ name: 'current', x: [0, 1, 2, 3, 4], y: [1000, 100, null, 10, null] }],
  limits: [{ says: 'limit', y: 50 }],
  marks: [{ says: 'asleep', x: 2 }],
}

// Closed form: the plot is 336 wide from 50 and 120 high from 136 up; log 1000 … 10 puts 100 half way, limit 50 at 0.349.
test('a plot has its curve at the right places, broken at a gap, with a dot for a single reading', () => {
  const { text } = stagePlot(PLOT, 'one')
  expect(text).toContain('class="curve solid" d="M50,16L134,76M302,136Z"')
  expect(text).toContain('class="dot" d="M302 136h0"')
  expect(text).toContain('class="limit" d="M50 94.1H386"')
  expect(text).toContain('class="mark" d="M218 16V136"')
  for (const tick of [10, 20, 50, 100, 200, 500]) expect(text).toContain(`>${tick}</text>`)
})

test.each([
  ['no reading at all', { x: [], y: [] }],
  ['only gaps', { x: [1, 2], y: [null, null] }],
  ['one reading', { x: [3], y: [5] }],
  ['nothing but zeros', { x: [0, 0], y: [0, 0] }],
  ['values below nothing on a log axis', { x: [1, 2], y: [-1, 0] }],
])('a plot of %s is drawn, with no number that is none', (_, series) => {
  for (const scale of ['linear', 'log'] as const) {
    const plot = { ...PLOT, y: { says: 'y', scale }, series: [{ name: 'a', ...series }], limits: [], marks: [] }
    expect(stagePlot(plot, 'one').text).not.toMatch(/NaN|Infinity/)
  }
})

test('markup is read back as it was written: text, attributes, order, and a drawing whole', () => {
  const svg = markup`<svg viewBox="0 0 1 1"><path d="M0 0"/></svg>`
  const [section] = markupTree(
    markup`<section id="${'a"b'}"><p>x ${'<b>&'} <b>y</b>&#160;z<br></p>${svg}</section>`.text,
  )
  if (!isElement(section)) throw new Error('no element')
  expect(section.attributes).toEqual({ id: 'a"b' })
  expect(wordsIn(section)).toBe('x <b>& y\u00a0z')
  expect(elementsIn(section, 'svg')[0].source).toBe(svg.text)
  expect(() => markupTree('<p><b></p>')).toThrow('</p> closes <b>')
})

// A font of our own by the OpenType specification: one table, format 4, of A to C where B has glyph 0.
test('characters that a font lacks become a mark that is seen', () => {
  const font = new DataView(new ArrayBuffer(28 + 12 + 32))
  font.setUint16(4, 1)
  for (const [i, letter] of Array.from('cmap').entries()) font.setUint8(12 + i, letter.charCodeAt(0))
  font.setUint32(20, 28)
  font.setUint16(30, 1)
  font.setUint32(36, 12)
  // Segments 0x41 and 0x43 … 0x43, and the last one that every table ends with.
  const values = [4, 32, 0, 4, 0, 0, 0, 0x41, 0x43, 0, 0x41, 0x43, 0xffc0, 0xffc0, 0, 0]
  for (const [i, value] of values.entries()) font.setUint16(40 + 2 * i, value)
  const known = codePointsOf(new Uint8Array(font.buffer))
  expect([...known]).toEqual([0x41, 0x43])
  expect(drawable('A\u3042C', known)).toBe('A\ufffdC')
})
