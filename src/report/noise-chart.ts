/**
 * Noise of one output with no signal, in third-octave bands, as SVG text; single lines stand out as needles with a letter.
 */
import { inDbv, inHz, plain } from '../units/words.js'
import type { OutputResult } from '../verdict/result.js'
import { CHART, chartFrame, type LevelAxis, px, type Scale, scaleHz, scaleLevel, ticksOf } from './chart-frame.js'
import { type Markup, markup } from './markup.js'

type Noise = NonNullable<OutputResult['noise']>

const STEP_DB = 20
/** No analogue output is quieter in any band. */
const LEVEL_DBV_MIN = -160
/** Half a third of an octave: a band's edges are its centre times and over this. */
const BAND_EDGE = 2 ** (1 / 6)
/** Letters that would touch are set one above the other. */
const LETTER_PX = 11

/** One axis for all noise charts. */
export function noiseAxis(outputs: readonly OutputResult[]): LevelAxis {
  const levels = outputs.flatMap(({ noise }) => [
    ...(noise?.levelDbv.filter((level) => level !== null) ?? []),
    ...(noise?.lines.map(({ levelDbv }) => levelDbv) ?? []),
  ])
  if (levels.length === 0) return { levelMin: -140, levelMax: -60, step: STEP_DB }
  const lowest = levels.reduce((a, b) => Math.min(a, b))
  const highest = levels.reduce((a, b) => Math.max(a, b))
  const levelMin = Math.max(LEVEL_DBV_MIN, STEP_DB * Math.floor((lowest - 2) / STEP_DB))
  const levelMax = Math.max(levelMin + 3 * STEP_DB, STEP_DB * Math.ceil((highest + 4) / STEP_DB))
  return { levelMin, levelMax, step: levelMax - levelMin > 100 ? 2 * STEP_DB : STEP_DB }
}

/** Lines from low to high with the letter that the chart and its caption share. */
export const letteredLines = ({ lines }: Noise): { letter: string; line: Noise['lines'][number] }[] =>
  [...lines]
    .sort((a, b) => a.freqHz - b.freqHz)
    .map((line, i) => ({ letter: String.fromCharCode(97 + (i % 26)), line }))

export function noiseChart(output: OutputResult, noise: Noise, axis: LevelAxis): Markup {
  const x = scaleHz(20 / BAND_EDGE, 20_000 * BAND_EDGE)
  const y = scaleLevel(axis.levelMin, axis.levelMax)
  const lines = letteredLines(noise)
  const named = lines.map(({ line }) => `${inHz(line.freqHz)} at ${inDbv(line.levelDbv)}, ${line.says}`)
  return chartFrame({
    id: `noise-${output.number}`,
    title: `Noise of output ${output.number} ${output.label}`,
    says: `Level in dBV of each third-octave band from 20 Hz to 20 kHz, with no signal. ${named.length === 0 ? 'No line stands out.' : `Lines that stand out: ${named.join('; ')}.`}`,
    x,
    y,
    levelTicks: ticksOf(axis),
    levelInWords: (level) => plain(level, 0),
    levelUnit: 'dBV',
    inside: bands(noise, x, y),
    over: needles(lines, x, y),
  })
}

function bands({ freqHz, levelDbv }: Noise, x: Scale, y: Scale): Markup {
  const tops = freqHz.flatMap((hz, i) => {
    const level = levelDbv[i]
    return level === null
      ? []
      : [{ from: x(hz / BAND_EDGE), to: x(hz * BAND_EDGE), top: Math.min(CHART.bottom, y(level)) }]
  })
  const filled = tops.map(({ from, to, top }) => `M${px(from)} ${CHART.bottom}V${px(top)}H${px(to)}V${CHART.bottom}z`)
  const edges = tops.map(({ from, to, top }) => `M${px(from)} ${px(top)}H${px(to)}`)
  return markup`<path class="band" d="${filled.join('')}"/><path class="bandtop" d="${edges.join('')}"/>`
}

function needles(lines: ReturnType<typeof letteredLines>, x: Scale, y: Scale): Markup[] {
  let [lastX, lift] = [Number.NEGATIVE_INFINITY, 0]
  return lines.map(({ letter, line }) => {
    const atX = Math.min(CHART.right, Math.max(CHART.left, x(line.freqHz)))
    const top = Math.min(CHART.bottom, y(line.levelDbv))
    lift = atX - lastX < LETTER_PX ? lift + LETTER_PX : 0
    lastX = atX
    return markup`<path class="needle" d="M${px(atX)} ${CHART.bottom}V${px(top)}"/><text class="letter" x="${px(atX)}" y="${px(Math.max(12, top - 4 - lift))}" text-anchor="middle">${letter}</text>`
  })
}
