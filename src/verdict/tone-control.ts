/**
 * A tone control of the head unit, told from factory equalisation of single outputs: the same sections are in all of them.
 *
 * What an output can see of a shared section, its own band decides; so each output is judged again with the shared sections
 * taken off, and what then passes is explained by them.
 */
import { type EqSection, sectionDb } from '../dsp/cookbook.js'
import type { Job } from '../job/job.js'
import type { OutputMeasures } from '../measure/outputs.js'
import { sharedSections } from '../measure/shared-sections.js'
import { inDb, inHz, listed } from '../units/words.js'
import { worstPlace } from './checks.js'
import { held } from './decision.js'
import { type Judged, verdictOf } from './judged.js'
import type { Finding } from './parts.js'

export interface ToneControl {
  readonly finding: Finding
  /** Outputs whose response the shared sections account for, and those whose level they do. */
  readonly responseOf: ReadonlySet<number>
  readonly levelOf: ReadonlySet<number>
}

const OUTPUTS_MIN = 2
/** Of the outputs that can show a section, so many have to. */
const SHARE = 0.6
/** Sections are those of a processor at this rate. */
const PROCESSING_HZ = 48_000

/** Sections that nearly every output has whose band lets it show them. */
function headUnitSections(alive: readonly OutputMeasures[]): EqSection[] {
  const outputs = alive.flatMap(({ lead, levelCurve, equaliser, spec }) =>
    levelCurve && equaliser ? [{ outputNumber: lead.outputNumber, curve: levelCurve, band: spec, equaliser }] : [],
  )
  return sharedSections(outputs, PROCESSING_HZ)
    .filter(({ outputNumbers, lackingNumbers }) => {
      const able = outputNumbers.length + lackingNumbers.length
      return outputNumbers.length >= Math.max(OUTPUTS_MIN, SHARE * able)
    })
    .map(({ section }) => section)
}

export function toneControl(judged: readonly Judged[], job: Job): ToneControl | null {
  const alive = judged.filter(({ measures }) => !measures.isDead)
  const sections = headUnitSections(alive.map(({ measures }) => measures))
  if (sections.length === 0) return null
  const shiftDb = (freqHz: number): number =>
    sections.reduce((sum, section) => sum + sectionDb(section, freqHz, PROCESSING_HZ), 0)
  const responseOf = new Set<number>()
  const levelOf = new Set<number>()
  for (const { measures, checks } of alive) {
    const { outputNumber } = measures.lead
    const { response, deviationDb, spec } = measures
    const atReferenceDb = shiftDb(spec.referenceHz)
    if (verdictOf(checks, 'response') !== 'pass' && response) {
      const levelDb = response.levelDb.map((level, i) => level - shiftDb(response.freqHz[i]) + atReferenceDb)
      const place = worstPlace({ ...measures, response: { ...response, levelDb } }, job.limits.flatnessDbMax)
      if (place && place.verdict !== 'fail') responseOf.add(outputNumber)
    }
    if (verdictOf(checks, 'level') !== 'pass') {
      const limit = { min: -spec.levelToleranceDb, max: spec.levelToleranceDb }
      if (held(deviationDb.value - atReferenceDb, 0, limit) === 'pass') levelOf.add(outputNumber)
    }
  }
  const outputs = [...new Set([...responseOf, ...levelOf])].sort((a, b) => a - b)
  if (outputs.length === 0) return null
  const words = sections.map(
    ({ gainDb, freqHz, kind }) => `${inDb(gainDb)} at ${inHz(freqHz)} (${kind.replace('_', ' ')})`,
  )
  return {
    responseOf,
    levelOf,
    finding: {
      kind: 'tone control',
      verdict: 'fail',
      outputs,
      title: `A tone control is left on: ${listed(sections.map(({ gainDb, freqHz }) => `${inDb(gainDb)} at ${inHz(freqHz)}`))}`,
      because: `The same is in every output that can show it: ${listed(words)}. Taken off, the rest of their response is as it should be.`,
      next: 'Set bass, middle and treble of the head unit to zero and take it again; what is still there is the factory tuning for all outputs.',
    },
  }
}
