#!/usr/bin/env zx
// Measures drawn vehicles at 100, 80, 60 and 40 dB of signal over noise, holds every figure against its truth, and writes
// the table of accuracy into DEVELOPERS.md. Run: npm run accuracy (some ten minutes on two cores)
// Takes are seeded: the same table on every machine. It fails where a test of the campaign does, and still writes the table.
// The table again from a folder of earlier results: npm run accuracy -- --from FOLDER
import { $, argv, fs, os, path } from 'zx'

const BEGIN = '<!-- accuracy:begin -->'
const END = '<!-- accuracy:end -->'
const DOCUMENT = 'DEVELOPERS.md'
const LEVELS = [100, 80, 60, 40]

const folder = argv.from ?? fs.mkdtempSync(path.join(os.tmpdir(), 'linetrue-accuracy-'))
let exitCode = 0
if (!argv.from) {
  const tests = await $({
    nothrow: true,
    stdio: 'inherit',
    preferLocal: true,
    env: { ...process.env, ACCURACY_OUT: folder },
  })`vitest run --config test/vitest.config.ts test/accuracy/at-`
  exitCode = tests.exitCode
}
const byLevel = new Map(
  LEVELS.map((snrDb) => {
    const file = path.join(folder, `${snrDb}.json`)
    if (!fs.existsSync(file)) throw new Error(`${file} is missing: the campaign at ${snrDb} dB did not end`)
    return [snrDb, fs.readJsonSync(file)]
  }),
)
if (!argv.from) fs.removeSync(folder)
write(textOf(byLevel))
process.exitCode = exitCode

function write(text) {
  const before = fs.readFileSync(DOCUMENT, 'utf8')
  const [from, to] = [before.indexOf(BEGIN), before.indexOf(END)]
  if (from < 0 || to < from) throw new Error(`${DOCUMENT} holds no ${BEGIN} … ${END}`)
  fs.writeFileSync(DOCUMENT, `${before.slice(0, from)}${BEGIN}\n\n${text}\n\n${before.slice(to)}`)
  console.log(text)
}

function textOf(campaigns) {
  const all = [...campaigns.values()]
  const names = all[0].measurands
  const sum = (of) => all.reduce((total, campaign) => total + of(campaign), 0)
  const takes = sum(({ counts }) => counts.takes)
  const lines = [
    `${takes} takes of two outputs each, drawn by \`test/accuracy\`: ${all.map(({ snrDb, counts }) => `${counts.takes} at ${snrDb} dB`).join(', ')}, ` +
      'a full-scale sine over Gaussian noise from 0 to 24 kHz.',
    '*U* is the median of the expanded uncertainty (k = 2) as stated. *Covered* is the share of all figures, at all levels, ' +
      'whose interval holds the truth; ¹ says why it may be more than 97 %. Where noise hides a figure it is stated as a bound: those ' +
      'are counted apart.',
    '',
    '| measurand | drawn | unit | at 80 dB: worst | rms | U | covered | of | bounds held | worst at 100 / 80 / 60 / 40 dB | held against outside by |',
    '| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |',
  ]
  const notes = new Map()
  for (const { name, unit, range, outside, above } of names) {
    const rows = all.map(({ rows }) => rows[name])
    const at80 = campaigns.get(80).rows[name]
    const total = (of) => rows.reduce((count, row) => count + of(row), 0)
    const [count, bounds] = [total((row) => row.count), total((row) => row.boundCount)]
    const share = (100 * total((row) => row.covered)) / count
    if (above !== null) notes.set(above, [...(notes.get(above) ?? []), name])
    lines.push(
      `| ${[
        name,
        range,
        unit,
        shown(at80.worst),
        shown(at80.rms),
        shown(at80.medianU),
        `${share.toFixed(1)} %${above === null ? '' : '¹'}`,
        count,
        bounds === 0 ? '' : `${total((row) => row.boundsHeld)} of ${bounds}`,
        rows.map((row) => (row.count === 0 ? '-' : shown(row.worst))).join(' / '),
        outside,
      ].join(' | ')} |`,
    )
  }
  const counts = (key) => sum((campaign) => campaign.counts[key])
  const miscounted = all.map(({ snrDb, counts }) => `${counts.sectionsMiscounted.length} at ${snrDb} dB`).join(', ')
  lines.push(
    '',
    '¹ In the budget stands what is known of the method but is no random draw: ' +
      `${[...notes].map(([above, its]) => `${above} (${its.join('; ')})`).join(', ')}.`,
    '',
    `Takes refused: ${sum(({ counts }) => counts.refused.length)} of ${takes}. Outputs taken for another one: ${counts('identitiesWrong')}. ` +
      `Polarity: ${counts('polaritiesWrong')} wrong and ${counts('polaritiesUnsure')} unsure of ${counts('polarities')}. ` +
      `Takes with more or fewer sections found than drawn: ${miscounted}.`,
  )
  return lines.join('\n')
}

/** Two digits, small numbers as powers of ten. */
function shown(value) {
  if (value === 0) return '0'
  if (value < 1e-4 || value >= 1e5) return value.toExponential(1)
  return value >= 10 ? value.toFixed(0) : Number(value.toPrecision(2)).toString()
}
