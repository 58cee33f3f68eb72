/** Checks that belong to several outputs together: electrical sums, spread of delays, the path from player to head unit. */
import type { Job } from '../job/job.js'
import { delaySpreads } from '../measure/delay-figures.js'
import { commonSource } from '../measure/lossy-source.js'
import { isMeasured, type SumFigures, type SumOutcome, sumFigures } from '../measure/sum-figures.js'
import { inDb, inHz, inMs, listed, plain } from '../units/words.js'
import { figureOf, held } from './decision.js'
import { type Judged, verdictOf } from './judged.js'
import { BECAUSE_OF, type Check, type Finding } from './parts.js'
import type { SourceResult, SumResult } from './readings.js'

export interface VehicleJudgement {
  readonly checks: Check[]
  readonly findings: Finding[]
  readonly sums: SumResult[]
  readonly source: SourceResult | null
}

export function judgeVehicle(judged: readonly Judged[], job: Job): VehicleJudgement {
  const sums = sumFigures(
    job,
    judged.map(({ measures }) => measures),
  ).map((outcome) => judgeSum(outcome, judged, job))
  const spread = spreadChecks(judged, job)
  const source = commonSource(
    judged.filter(({ measures }) => !measures.isDead).map(({ measures }) => measures.lead.analysis.lossySource),
  )
  return {
    checks: [...sums.map(({ check }) => check), ...spread],
    findings: [...sums.flatMap(({ finding }) => finding ?? []), ...sourceFindings(source), ...interrupted(judged)],
    sums: sums.map(({ result }) => result),
    source: source && { isLossy: source.isLossy, because: [...source.because], bandLimitHz: source.bandLimitHz },
  }
}

/** What of a single output already accounts for a sum that is not flat. */
const OF_ONE = ['level', 'polarity', 'identity', 'response', 'delay', 'crosstalk', 'sides']

function judgeSum(
  outcome: SumOutcome,
  judged: readonly Judged[],
  job: Job,
): { result: SumResult; check: Check; finding: Finding | null } {
  const { spec } = outcome
  const max = job.limits.sumFlatnessDbMax
  const name = `sum ${spec.name}`
  const expected = `outputs ${listed(spec.outputs)} together flat ± ${max} dB`
  if (!isMeasured(outcome)) {
    const { because } = outcome
    return {
      result: {
        name: spec.name,
        outputs: [...spec.outputs],
        verdict: 'unsure',
        because,
        freqHz: [],
        levelDbv: [],
        flattestDbv: [],
        worstDb: null,
        flattestWorstDb: null,
        settings: [],
      },
      check: { name, verdict: 'unsure', figure: null, expected, measured: 'not measured', why: because },
      finding: null,
    }
  }
  const { sum, flatnessDb } = outcome
  const verdict = held(Math.abs(flatnessDb.value), flatnessDb.u, { max })
  const culprits = judged
    .filter(({ measures }) => spec.outputs.includes(measures.spec.number))
    .filter(({ checks }) => OF_ONE.some((check) => verdictOf(checks, check) !== 'pass'))
    .map(({ measures }) => measures.spec.number)
  const why =
    verdict === 'pass'
      ? ''
      : culprits.length > 0
        ? `${BECAUSE_OF} ${listed(culprits)}.`
        : verdict === 'fail'
          ? remedyOf(outcome)
          : 'The limit lies within the uncertainty.'
  return {
    result: {
      name: spec.name,
      outputs: [...spec.outputs],
      verdict,
      because: why,
      freqHz: [...sum.freqHz],
      levelDbv: [...sum.levelDbv],
      flattestDbv: [...sum.flattestDbv],
      worstDb: sum.asItStands.worstDb,
      flattestWorstDb: sum.flattest.worstDb,
      settings: sum.settings.map(({ outputNumber, extraDelayS, extraDelayU, gainDb, gainU, isTurned }) => ({
        output: outputNumber,
        extraDelayS,
        extraDelayU: 2 * extraDelayU,
        gainDb,
        gainU: 2 * gainU,
        isTurned,
      })),
    },
    check: {
      name,
      verdict,
      figure: figureOf('sum flatness', 'dB', flatnessDb),
      expected,
      measured: `${inDb(flatnessDb.value)} at ${inHz(sum.asItStands.worstHz)}`,
      why,
    },
    finding:
      verdict === 'pass' || culprits.length > 0
        ? null
        : {
            kind: 'sum',
            verdict,
            outputs: [...outcome.outputNumbers],
            title: `Outputs ${listed(spec.outputs)} do not sum flat: ${inDb(flatnessDb.value)} at ${inHz(sum.asItStands.worstHz)}`,
            because: `The sum ${spec.name} may be off by ${max} dB; each output by itself is as the map says.`,
            next: remedyOf(outcome),
          },
  }
}

/** What makes a sum flattest, as an instruction. */
function remedyOf({ sum }: SumFigures): string {
  const steps = sum.settings.flatMap(({ outputNumber, extraDelayS, gainDb, isTurned }) => {
    const parts = [
      ...(isTurned ? ['turn its polarity'] : []),
      ...(extraDelayS !== null && Math.abs(extraDelayS) > 5e-6
        ? [extraDelayS > 0 ? `delay it by ${inMs(extraDelayS)}` : `delay the others by ${inMs(-extraDelayS)}`]
        : []),
      ...(Math.abs(gainDb) > 0.1 ? [`change its gain by ${inDb(gainDb)}`] : []),
    ]
    return parts.length > 0 ? [`output ${outputNumber}: ${parts.join(', ')}`] : []
  })
  const best = `that leaves ${plain(Math.abs(sum.flattest.worstDb), 1)} dB`
  return steps.length > 0
    ? `In the summing processor, ${steps.join('; ')}; ${best}.`
    : `No delay, gain or polarity makes it flatter (${best}): check the crossovers of the outputs.`
}

/** Outputs that cannot be timed to the limit are left out, and named: a late one among them would not show here. */
function spreadChecks(judged: readonly Judged[], job: Job): Check[] {
  const max = job.limits.delaySpreadSMax
  const timed = judged.flatMap(({ measures }) => {
    const { spec, lead, polarity } = measures
    const side = Math.abs(spec.leftGain) >= Math.abs(spec.rightGain) ? 'left' : 'right'
    const excess = lead.analysis[side]
    return whyUntimed(measures, max) === null && excess && polarity?.isSure
      ? [
          {
            patchName: lead.patchName,
            spec,
            excess,
            side,
            sweepsApartU: lead.analysis.sweepsApartU,
            outputNumber: lead.outputNumber,
          } as const,
        ]
      : []
  })
  return delaySpreads(timed).map(({ patchName, spreadS, earliest, latest }) => {
    const verdict = held(spreadS.value, spreadS.u, { max })
    const culprits = judged
      .filter(({ measures, checks }) => measures.lead.patchName === patchName && verdictOf(checks, 'delay') === 'fail')
      .map(({ measures }) => measures.spec.number)
    return {
      name: `delay spread ${patchName}`,
      verdict,
      figure: figureOf('delay spread', 's', spreadS),
      expected: `${inMs(max).replace('+', '')} or less from the earliest to the latest${leftOutOf(judged, patchName, max)}`,
      measured: `${inMs(spreadS.value).replace('+', '')}, output ${earliest} to output ${latest}`,
      why: verdict === 'pass' ? '' : culprits.length > 0 ? `${BECAUSE_OF} ${listed(culprits)}.` : 'Too far apart.',
    }
  })
}

const UNTIMED = {
  dead: 'no signal',
  low: 'too low a band to be timed to this limit',
  sign: 'polarity not settled',
} as const

/** @returns null where the output can be timed to the limit */
function whyUntimed({ spec, isDead, lead, polarity }: Judged['measures'], maxS: number): keyof typeof UNTIMED | null {
  if (isDead) return 'dead'
  if (spec.highHz !== null && 0.05 / spec.highHz > maxS) return 'low'
  const side = Math.abs(spec.leftGain) >= Math.abs(spec.rightGain) ? 'left' : 'right'
  return lead.analysis[side] && polarity?.isSure ? null : 'sign'
}

/** "; without outputs 9 and 10 (too low a band …)", or nothing. */
function leftOutOf(judged: readonly Judged[], patchName: string, maxS: number): string {
  const here = judged.map(({ measures }) => measures).filter(({ lead }) => lead.patchName === patchName)
  const groups = (['low', 'dead', 'sign'] as const).flatMap((why) => {
    const numbers = here.filter((one) => whyUntimed(one, maxS) === why).map(({ lead }) => lead.outputNumber)
    return numbers.length === 0 ? [] : [`${listed(numbers)} (${UNTIMED[why]})`]
  })
  return groups.length === 0 ? '' : `; left out: ${groups.join('; ')}`
}

function sourceFindings(source: ReturnType<typeof commonSource>): Finding[] {
  if (source?.isLossy !== 'yes') return []
  return [
    {
      kind: 'lossy source',
      verdict: 'pass',
      outputs: [],
      title: 'The path from player to head unit is lossy',
      because: `${source.because.join(' ')} Distortion below what this path lets be seen is given as at most.`,
      next: 'For distortion and noise under signal, play the track from a WAV file by cable, stick or disc.',
    },
  ]
}

/** What all outputs of a take have at one moment is the player's, the link's or the capture's. */
function interrupted(judged: readonly Judged[]): Finding[] {
  const common = judged
    .flatMap(({ measures }) => measures.interruptions)
    .filter(({ isCommon }) => isCommon)
    .sort((a, b) => a.interruption.atS - b.interruption.atS)
  if (common.length === 0) return []
  const { interruption } = common[0]
  return [
    {
      kind: 'interrupted',
      verdict: 'unsure',
      outputs: [],
      title: `All outputs have a ${interruption.kind} at ${interruption.atS.toFixed(3)} s of the track`,
      because: 'What every output has at the same moment comes from the player, its link or the capture.',
      next: 'Close other programs, look at cable or wireless link of the player, and take it again.',
    },
  ]
}
