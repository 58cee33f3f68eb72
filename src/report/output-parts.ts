/**
 * The folded parts of one output in the written report: distortion and headroom, noise, crosstalk and group delay, volume,
 * interruptions, and every figure with what its uncertainty is made of. A part of which nothing was read is left out.
 */
import { numbersInWords } from '../rig/input-words.js'
import { inHz, plain } from '../units/words.js'
import type { Figure, Verdict } from '../verdict/parts.js'
import type { OutputResult, TakeResult } from '../verdict/result.js'
import { DASHES } from './curve-chart.js'
import { budgetTable, figureTable } from './figure-table.js'
import { uncertaintyInWords, valueInWords } from './format.js'
import { interruptionTable } from './interruptions-part.js'
import { type Markup, markup, type Shown } from './markup.js'
import { checkIn, figureIn, verdictIn } from './output-facts.js'
import { fold, withU } from './parts.js'
import {
  crosstalkChart,
  distortionChart,
  groupDelayChart,
  type ReadingAxes,
  staircaseGainChart,
  staircaseThdChart,
  volumeChart,
} from './reading-charts.js'

const DISTORTION = ['thd', 'thd of total', 'thd+n', 'sinad', 'modulation distortion', 'difference-tone distortion']
const HEADROOM = ['clean level', 'clean output', 'compression at 0 dBFS']
const NOISE = ['noise', 'noise A', 'noise C', 'noise 468', 'noise 468, unity at 2 kHz', 'hum']
const RANGE = ['dynamic range', 'dynamic range A']
const ENGINE = ['whine', 'noise with the engine']

export const outputParts = (
  output: OutputResult,
  axes: ReadingAxes,
  takes: readonly TakeResult[],
): (Markup | null)[] => [
  interruptionsPart(output, takes),
  distortionPart(output, axes),
  noisePart(output),
  pathPart(output, axes),
  volumePart(output, axes),
  figuresPart(output),
]

const figuresIn = (output: OutputResult, quantities: readonly string[]): Figure[] =>
  quantities.flatMap((quantity) => figureIn(output, quantity) ?? [])

/** The worst verdict of the checks of these names. */
function worstOf(output: OutputResult, names: readonly string[]): Verdict {
  const verdicts = names.map((name) => verdictIn(output, name))
  return verdicts.includes('fail') ? 'fail' : verdicts.includes('unsure') ? 'unsure' : 'pass'
}

/** Names that stand well inside a line. */
const LINE_WORDS: Readonly<Record<string, string>> = { thd: 'THD', 'noise A': 'A-weighted' }

/** "A-weighted −95.7 dBV(A), dynamic range 97.1 dB": figures that were read, in a line. */
const inLine = (output: OutputResult, quantities: readonly string[]): string =>
  figuresIn(output, quantities)
    .filter(({ value }) => value !== null)
    .map((figure) => `${LINE_WORDS[figure.quantity] ?? figure.quantity} ${valueInWords(figure)}`)
    .join(', ')

const captioned = (chart: Markup, says: Shown): Markup => markup`<figure>${chart}
<figcaption>${says}</figcaption></figure>
`

function distortionPart(output: OutputResult, axes: ReadingAxes): Markup | null {
  const { distortion, staircase } = output.readings
  const harmonics = output.figures.filter(({ quantity }) => quantity.startsWith('harmonic '))
  const figures = [...figuresIn(output, [...DISTORTION, ...HEADROOM]), ...harmonics]
  if (!distortion && !staircase && figures.length === 0) return null
  const [level, volts] = ['clean level', 'clean output'].map((quantity) => figureIn(output, quantity))
  const cleanTo =
    level && level.value !== null ? `clean to ${valueInWords(level)}${volts ? ` (${valueInWords(volts)})` : ''}` : ''
  const above = staircase && staircase.kind !== 'clean' ? `above it ${staircase.kind}` : ''
  return fold({
    title: 'Distortion and headroom',
    verdict: worstOf(output, [...DISTORTION, ...HEADROOM]),
    says: [inLine(output, ['thd']), cleanTo, above].filter(Boolean).join(', '),
    inside: markup`<div class="pair">
${distortion ? captioned(distortionChart(output, distortion, axes.distortion), `THD against frequency, from the sweep at ${plain(distortion.sourceDbfs, 0)} dBFS, orders 2 to 5.`) : null}${
  staircase
    ? [
        captioned(
          staircaseThdChart(output, staircase, axes.staircase),
          `THD against level at ${inHz(staircase.freqHz)}.`,
        ),
        captioned(
          staircaseGainChart(output, staircase, axes.gain),
          `Gain against level at ${inHz(staircase.freqHz)}, re the low steps: ${[staircase.kind === 'clean' ? '' : staircase.kind, cleanTo].filter(Boolean).join(', ')}.`,
        ),
      ]
    : null
}${figures.length === 0 ? null : figureTable(`Distortion and headroom of output ${output.number}`, figures)}
</div>`,
  })
}

function noisePart(output: OutputResult): Markup | null {
  const figures = figuresIn(output, [...NOISE, ...RANGE, ...ENGINE])
  if (figures.length === 0) return null
  return fold({
    title: 'Noise',
    verdict: worstOf(output, [...NOISE, ...RANGE, ...ENGINE]),
    says: inLine(output, ['noise A', 'dynamic range', ...ENGINE]),
    inside: markup`${figureTable(`Noise of output ${output.number} by every weighting`, figures)}${whineSaid(output)}`,
  })
}

function whineSaid({ readings: { whine } }: OutputResult): Markup | null {
  if (!whine) return null
  const orders = `${whine.orders.length === 1 ? 'order' : 'orders'} ${numbersInWords(whine.orders)}`
  const moves = whine.isMoving ? "It moves with the engine's speed." : 'It stands still.'
  return markup`<p>With the engine running: a series on ${inHz(whine.lowHz)} to ${inHz(whine.highHz)}, ${orders}. ${moves}</p>`
}

function pathPart(output: OutputResult, { crosstalk: axis }: ReadingAxes): Markup | null {
  const { crosstalk, groupDelay } = output.readings
  if (!crosstalk && !groupDelay) return null
  const referenceHz = output.response?.referenceHz ?? 1000
  const delay = figureIn(output, 'delay')
  const says = [
    inLine(output, ['crosstalk']),
    delay && delay.value !== null ? `delay ${valueInWords(delay)} ${uncertaintyInWords(delay)}` : '',
  ]
  return fold({
    title: 'Crosstalk and group delay',
    verdict: worstOf(output, ['crosstalk', 'sides', 'delay']),
    says: says.filter(Boolean).join(', '),
    inside: markup`<div class="pair">
${crosstalk ? captioned(crosstalkChart(output, crosstalk, axis), 'Crosstalk: the side that it should not hear against the one that it should.') : null}${groupDelay ? captioned(groupDelayChart(output, groupDelay, referenceHz), `Group delay against that at ${inHz(referenceHz)}.`) : null}
</div>`,
  })
}

function volumePart(output: OutputResult, { volume: axis }: ReadingAxes): Markup | null {
  const { volumes } = output.readings
  if (volumes.length === 0) return null
  const said = volumes.map(
    ({ volume, hasLoudness }) => `volume ${volume}: ${hasLoudness ? 'its shape changes' : 'same shape'}`,
  )
  return fold({
    title: 'Change with the volume',
    verdict: worstOf(output, ['loudness']),
    says: said.join(', '),
    inside: markup`<div class="pair">
${captioned(
  volumeChart(output, axis),
  markup`Response against that of the reference take. ${volumes.map(
    ({ volume, levelChangeDb, levelChangeU, hasLoudness }, i) =>
      markup`${dash(i)} Volume ${volume}: level ${withU(levelChangeDb, levelChangeU, 'dB')}, ${hasLoudness ? 'loudness curve' : 'no loudness curve'}. `,
  )}`,
)}
</div>`,
  })
}

const dash = (index: number): Markup =>
  markup`<span class="swatch"><svg viewBox="0 0 26 14" aria-hidden="true"><path class="curve ${DASHES[index % DASHES.length]}" d="M1 7H25"/></svg></span>`

function interruptionsPart(output: OutputResult, takes: readonly TakeResult[]): Markup | null {
  const { interruptions } = output.readings
  if (interruptions.length === 0) return null
  const kinds = [...new Set(interruptions.map(({ kind }) => kind))]
  const isCommon = interruptions.every((one) => one.isCommon)
  return fold({
    title: 'Interruptions',
    verdict: checkIn(output, 'interruptions')?.verdict ?? 'pass',
    says: `${interruptions.length}: ${kinds.join(', ')}${isCommon ? '; on all outputs' : ''}`,
    inside: interruptionTable(output, takes),
    isOpen: true,
  })
}

function figuresPart(output: OutputResult): Markup | null {
  const { number, figures } = output
  if (figures.length === 0) return null
  return fold({
    title: 'All figures',
    says: `${figures.length}, each with what its uncertainty is made of`,
    inside: budgetTable(
      `All figures of output ${number}`,
      figures.map((figure) => ({ name: figure.quantity, figure })),
    ),
  })
}
