/** The stage of the pins as a result: its table, what is wrong, and where its limits come from. */
import { type PinSpec, pinId } from '../job/pins.js'
import { listed } from '../units/words.js'
import { worst } from './decision.js'
import type { Verdict } from './parts.js'
import { exchangedOnBus } from './pin-bus.js'
import { colourCell, FUNCTION_WORDS, type PinJudged, stateWords } from './pin-checks.js'
import { pinFindings } from './pin-findings.js'
import type { StageResult, StageTable } from './stage-result.js'

const SOURCES =
  'Expected where the job says nothing else: supplies 10.5 to 16 V (ISO 16750-2, supply code D), data lines 2 to 3 V and 50 to 65 Ω across them (ISO 11898-2), all others common practice; colours by IEC 60757. Volts are against battery minus.'

export function pinsResult(
  pins: readonly PinSpec[],
  read: readonly PinJudged[],
  cautions: readonly string[],
): Omit<StageResult, 'startedAt' | 'endedAt'> {
  const { findings, notes } = pinFindings(read)
  const exchanged = exchangedOnBus(read)
  const judged = read.map((one) =>
    exchanged.includes(one)
      ? { ...one, check: { ...one.check, verdict: 'fail' as const, why: 'It reads like the other wire of its bus.' } }
      : one,
  )
  const alone = pins.filter(({ isLeftAlone }) => isLeftAlone)
  const checks = judged.map(({ check }) => check)
  return {
    stage: 'pins',
    verdict: worst([...checks, ...findings].map(({ verdict }) => verdict)),
    summary: summaryOf(
      pins,
      judged,
      findings.map(({ title }) => title),
    ),
    figures: [],
    checks,
    findings: [...findings],
    tables: [tableOf(pins, judged)],
    plots: [],
    corrections: [],
    takes: [],
    notes: [
      SOURCES,
      ...notes,
      ...(alone.length === 0 ? [] : [`Left alone, as restraint circuits: ${listed(alone.map(pinId))}.`]),
    ],
    cautions: [...cautions],
  }
}

function tableOf(pins: readonly PinSpec[], judged: readonly PinJudged[]): StageTable {
  return {
    caption: 'Pins of the harness',
    head: ['Pin', 'Function', 'Colour', 'Read', 'Expected', 'Found'],
    rows: pins.flatMap((spec): StageTable['rows'] => {
      const function_ =
        spec.label === null ? FUNCTION_WORDS[spec.function] : `${FUNCTION_WORDS[spec.function]}: ${spec.label}`
      const first = [pinId(spec), function_, colourCell(spec)]
      const own = judged.filter((one) => one.spec === spec)
      if (own.length === 0) {
        const why = spec.isLeftAlone ? 'left alone' : 'nothing to read'
        return [{ cells: [...first, '–', '–', why], verdict: null }]
      }
      return own.map(({ reading, check }) => ({
        cells: [...first, stateWords(reading), check.expected, check.measured],
        verdict: check.verdict,
      }))
    }),
  }
}

function summaryOf(pins: readonly PinSpec[], judged: readonly PinJudged[], titles: readonly string[]): string {
  const verdictOf = (spec: PinSpec): Verdict =>
    worst(judged.filter((one) => one.spec === spec).map(({ check }) => check.verdict))
  const read = pins.filter(({ readings }) => readings.length > 0)
  const good = read.filter((spec) => verdictOf(spec) === 'pass').length
  if (titles.length === 0) return `All ${read.length} pins are as the table says.`
  return `${good} of ${read.length} pins are as the table says. ${titles.join('; ')}.`
}
