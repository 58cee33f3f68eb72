/**
 * What brings an output to the map: trim and delay, each said once.
 *
 * Trim is for the level that is left once the sections are typed in; delay leads to the latest healthy output of the same patch,
 * because across patches none is known. Of an output that has to be repaired first there is neither.
 */
import { type EqSection, sectionDb } from '../dsp/cookbook.js'
import type { SumResult } from '../verdict/readings.js'
import type { OutputResult, Result } from '../verdict/result.js'
import type { Correction } from '../verdict/stage-result.js'
import { figureIn } from './output-facts.js'
import { repairsOf } from './repair-first.js'

export interface Tuning {
  readonly output: OutputResult
  /** Title of what has to be repaired before anything is typed in; null for a healthy output. */
  readonly repair: string | null
  /** What the sections change at the reference frequency; 0 where there are none. */
  readonly sectionsDb: number
  /** null where nothing could be read, or is to be repaired first. */
  readonly trimDb: number | null
  readonly delayS: number | null
}

const PROCESSING_HZ = 48_000
const KINDS = { peaking: 'peaking', 'low shelf': 'low_shelf', 'high shelf': 'high_shelf' } as const

const valueIn = (output: OutputResult, quantity: string): number | null => figureIn(output, quantity)?.value ?? null

/** What the sections of an output's own corrections change at a frequency, by the cookbook's response, dB. */
export function changeDb(corrections: readonly Correction[], outputNumber: number, freqHz: number): number {
  const sections = corrections
    .filter(({ outputs }) => outputs.length === 1 && outputs[0] === outputNumber)
    .flatMap((one) => one.sections.map(({ kind, ...rest }): EqSection => ({ kind: KINDS[kind], ...rest })))
  return sections.reduce((sum, section) => sum + sectionDb(section, freqHz, PROCESSING_HZ), 0)
}

/** @param corrections sections that the page tells to type in */
export function tuningsOf(result: Result, corrections: readonly Correction[]): Tuning[] {
  const repairs = repairsOf(result)
  const healthy = result.outputs.filter(({ number }) => !repairs.has(number))
  const latestS = new Map<string, number>()
  for (const output of healthy) {
    const delayS = valueIn(output, 'delay')
    if (delayS !== null) latestS.set(output.patch, Math.max(delayS, latestS.get(output.patch) ?? delayS))
  }
  return result.outputs.map((output) => {
    const repair = repairs.get(output.number) ?? null
    const freqHz = figureIn(output, 'level')?.freqHz ?? output.response?.referenceHz ?? null
    const sectionsDb = freqHz === null ? 0 : changeDb(corrections, output.number, freqHz)
    const [offDb, delayS] = [valueIn(output, 'level deviation'), valueIn(output, 'delay')]
    const latest = latestS.get(output.patch)
    return {
      output,
      repair,
      sectionsDb,
      trimDb: offDb === null || repair ? null : -(offDb + sectionsDb),
      delayS: delayS === null || latest === undefined || repair ? null : latest - delayS,
    }
  })
}

/** A sum with what is left to set once trims and delays are; with none where one of its outputs has to be repaired first. */
export function sumAfter(sum: SumResult, tunings: readonly Tuning[]): SumResult {
  const of = (number: number): Tuning | undefined => tunings.find(({ output }) => output.number === number)
  const broken = sum.outputs.flatMap((number) => of(number)?.repair ?? [])
  if (broken.length > 0) {
    const because = `Repair first: ${[...new Set(broken)].join('; ')}. Then measure again.`
    return { ...sum, because, settings: [] }
  }
  const first = of(sum.outputs[0])
  return {
    ...sum,
    // Why it is off is what trims and delays undo; what is left stands in the table.
    because: '',
    settings: sum.settings.map((setting) => {
      const its = of(setting.output)
      // The sum was taken without the sections, so their part of the trim takes nothing off it.
      const levelDb = (one: Tuning | undefined): number => (one ? (one.trimDb ?? 0) + one.sectionsDb : 0)
      const delayS = (its?.delayS ?? 0) - (first?.delayS ?? 0)
      return {
        ...setting,
        gainDb: setting.gainDb - (levelDb(its) - levelDb(first)),
        extraDelayS: setting.extraDelayS === null ? null : setting.extraDelayS - delayS,
      }
    }),
  }
}
