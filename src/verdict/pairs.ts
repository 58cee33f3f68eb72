/** Outputs of a pair against each other. */
import type { Job } from '../job/job.js'
import { difference } from '../measure/estimate.js'
import type { OutputMeasures } from '../measure/outputs.js'
import { inDb, listed } from '../units/words.js'
import { levelDeviationDb } from './checks.js'
import { balanceFinding } from './common-causes.js'
import { figureOf, held } from './decision.js'
import { type Judged, verdictOf } from './judged.js'
import { BECAUSE_OF, type Check, type Finding } from './parts.js'

/** Outputs of a pair against each other: a check of the vehicle, since it belongs to neither alone. */
export function pairChecks(judged: readonly Judged[], job: Job): { checks: Check[]; findings: Finding[] } {
  const isOffCentre = balanceFinding(judged, job) !== null
  const pairs = new Map<string, Judged[]>()
  for (const one of judged) {
    const { pair } = one.measures.spec
    if (pair !== null && !one.measures.isDead) pairs.set(pair, [...(pairs.get(pair) ?? []), one])
  }
  const checks: Check[] = []
  const findings: Finding[] = []
  for (const [pair, members] of pairs) {
    const [a, b] = members.sort((x, y) => x.measures.spec.number - y.measures.spec.number)
    if (!b) continue
    const numbers = [a, b].map(({ measures }) => measures.spec.number)
    const balance = difference(
      a.measures.deviationDb,
      `output ${numbers[0]}`,
      b.measures.deviationDb,
      `output ${numbers[1]}`,
      'difference of levels/1',
    )
    const differenceDb = balance.value
    const max = job.limits.pairBalanceDbMax
    const verdict = held(differenceDb, balance.u, { min: -max, max })
    // An output that is off by itself has its finding already, and the pair is off because of it.
    const byLevel = [a, b].filter(
      ({ measures }) => Math.abs(levelDeviationDb(measures)) > measures.spec.levelToleranceDb,
    )
    const culprits =
      byLevel.length > 0 ? byLevel : [a, b].filter(({ measures, checks: its }) => isOffByItself(measures, its))
    checks.push({
      name: `pair balance ${pair}`,
      verdict,
      figure: figureOf('pair balance', 'dB', balance),
      expected: `${listed(numbers)} within ${max} dB`,
      measured: inDb(differenceDb),
      why:
        verdict === 'pass'
          ? ''
          : culprits.length > 0
            ? `${BECAUSE_OF} ${listed(culprits.map(({ measures }) => measures.spec.number))}.`
            : verdict === 'fail'
              ? 'The pair is not matched.'
              : 'The limit lies within the uncertainty.',
    })
    if (verdict === 'pass' || isOffCentre || culprits.length > 0) continue
    findings.push({
      kind: 'unbalanced',
      verdict,
      outputs: [a, b].map(({ measures }) => measures.lead.outputNumber).sort((x, y) => x - y),
      title: `Outputs ${listed(numbers)} are not matched: ${inDb(differenceDb)}`,
      because: `The pair ${pair} may differ by ${max} dB.`,
      next: "Centre the balance control; then match the two levels in the interface's set-up.",
    })
  }
  return { checks, findings }
}

const isOffByItself = (measures: OutputMeasures, checks: readonly Check[]): boolean =>
  measures.sides !== 'as mapped' ||
  measures.isClipped ||
  Math.abs(levelDeviationDb(measures)) > measures.spec.levelToleranceDb ||
  ['response', 'noise', 'noise A'].some((name) => verdictOf(checks, name) !== 'pass')
