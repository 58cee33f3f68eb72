/** From figures to a verdict: checks of each output, of the vehicle, findings, and one sentence that says it all. */
import type { Job } from '../job/job.js'
import type { OutputMeasures } from '../measure/outputs.js'
import { maskFor } from '../measure/response.js'
import { inDbv, listed } from '../units/words.js'
import { checksOf } from './checks.js'
import { figureOf, worst } from './decision.js'
import { findingsOf } from './findings.js'
import { readingsOf } from './output-readings.js'
import { pairChecks } from './pairs.js'
import type { Check, Figure, Finding, Verdict } from './parts.js'
import type { SourceResult, SumResult } from './readings.js'
import type { OutputResult, Result } from './result.js'
import { judgeVehicle } from './vehicle-checks.js'

export interface Judgement {
  readonly verdict: Verdict
  readonly summary: string
  readonly outputs: OutputResult[]
  readonly checks: Check[]
  readonly findings: Finding[]
  readonly sums: SumResult[]
  readonly source: SourceResult | null
}

/** Orders 2 to 5; higher ones are in the thd. */
const HARMONICS_SHOWN = 4

const ORDER: readonly Verdict[] = ['fail', 'unsure', 'pass']

/** @param rigFindings, rigChecks what the run already knows of the rig: the meter's word, faults of a take */
export function judge(
  job: Job,
  measures: readonly OutputMeasures[],
  rigChecks: readonly Check[],
  rigFindings: readonly Finding[],
): Judgement {
  const judged = measures.map((one) => ({ measures: one, checks: checksOf(one, job) }))
  const pairs = pairChecks(judged, job)
  const vehicle = judgeVehicle(judged, job)
  const checks = [...rigChecks, ...pairs.checks, ...vehicle.checks]
  const findings = [...rigFindings, ...findingsOf(judged, job), ...pairs.findings, ...vehicle.findings].sort(
    (a, b) => ORDER.indexOf(a.verdict) - ORDER.indexOf(b.verdict),
  )
  const outputs = judged
    .map(({ measures: one, checks: own }) => outputResult(one, own, job))
    .sort((a, b) => a.number - b.number)
  const verdict = worst([
    ...outputs.map((output) => output.verdict),
    ...checks.map((check) => check.verdict),
    ...findings.map((finding) => finding.verdict),
  ])
  const { sums, source } = vehicle
  return { verdict, summary: summaryOf(verdict, outputs, findings), outputs, checks, findings, sums, source }
}

function outputResult(one: OutputMeasures, checks: Check[], job: Job): OutputResult {
  const { lead, response } = one
  const own = job.outputs.find(({ number }) => number === lead.outputNumber)!
  const mask = response && maskFor(one.spec, job.limits.flatnessDbMax, response.freqHz)
  const extra: (Figure | null)[] = [
    one.isDead ? null : figureOf('level deviation', 'dB', one.deviationDb),
    figureOf('side balance', 'dB', one.sideBalanceDb),
    figureOf('full-band level', 'V', one.fullBandVrms),
    figureOf('noise', 'dBV', one.noiseDbv),
    figureOf('noise A', 'dBV(A)', one.noiseADbv),
    figureOf('noise C', 'dBV(C)', one.noiseCDbv),
    figureOf('noise 468', 'dBV', one.noise468Dbv),
    figureOf('noise 468, unity at 2 kHz', 'dBV', one.noiseCcirRmsDbv),
    figureOf('dynamic range', 'dB', one.dynamicRangeDb),
    figureOf('dynamic range A', 'dB', one.dynamicRangeADb),
    figureOf('thd of total', '%', one.thdOfTotalPct),
    figureOf('sinad', 'dB', one.sinadDb),
    ...one.harmonicsDb.slice(0, HARMONICS_SHOWN).map((from, k) => figureOf(`harmonic ${k + 2}`, 'dB', from)),
    figureOf('clean output', 'V', one.cleanVrms),
    figureOf('compression at 0 dBFS', 'dB', one.compressionDb),
    ...one.volumes.map(({ volume, levelChangeDb }) =>
      figureOf(`level change to volume ${volume}`, 'dB', levelChangeDb),
    ),
  ]
  const checked = checks.flatMap(({ figure }) => (figure ? [figure] : []))
  const names = new Set(checked.map(({ quantity }) => quantity))
  return {
    number: own.number,
    label: own.label,
    patch: lead.patchName,
    inputNumber: lead.inputNumber,
    verdict: worst([...checks.map(({ verdict }) => verdict), one.isClipped ? 'unsure' : 'pass']),
    identifiedAs: one.identity.identifiedAs,
    figures: [
      ...checked,
      ...extra.filter((figure): figure is Figure => figure !== null && !names.has(figure.quantity)),
    ],
    checks,
    readings: readingsOf(one),
    response:
      response && mask
        ? {
            freqHz: [...response.freqHz],
            levelDb: [...response.levelDb],
            maskMinDb: [...mask.minDb],
            maskMaxDb: [...mask.maxDb],
            referenceHz: response.referenceHz,
          }
        : null,
    noise: {
      freqHz: [...one.noiseCurve.freqHz],
      levelDbv: [...one.noiseCurve.levelDbv],
      lines: one.noiseLines.map(({ freqHz, levelDbv, kind }) => ({
        freqHz,
        levelDbv,
        says: kind === 'mains series' ? `mains series, together ${inDbv(levelDbv)}` : kind,
      })),
    },
  }
}

function summaryOf(verdict: Verdict, outputs: Result['outputs'], findings: readonly Finding[]): string {
  const count = outputs.length
  const numbers = (wanted: Verdict): number[] =>
    outputs.filter((output) => output.verdict === wanted).map(({ number }) => number)
  if (verdict === 'pass')
    return count === 1 ? 'The output is as the map says.' : `All ${count} outputs are as the map says.`
  const [failed, unsure] = [numbers('fail'), numbers('unsure')]
  const parts: string[] = []
  if (failed.length > 0) parts.push(`${failed.length} of ${count} outputs fail: ${listed(failed)}.`)
  if (unsure.length > 0) parts.push(`${unsure.length} of ${count} could not be settled: ${listed(unsure)}.`)
  const rest = findings.find(
    ({ verdict: its, outputs: its2 }) => its === verdict && !its2.some((n) => [...failed, ...unsure].includes(n)),
  )
  if (rest) parts.push(`${rest.title}.`)
  return parts.join(' ')
}
