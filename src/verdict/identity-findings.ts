/** Which outputs carry each other's signal, and which cannot be told apart. */
import type { Job, OutputSpec } from '../job/job.js'
import { listed } from '../units/words.js'
import { isSameEntry } from './checks.js'
import { type Judged, verdictOf } from './judged.js'
import type { Finding } from './parts.js'

/** Closed rounds of leads that carry each other's signal. */
export function swaps(judged: readonly Judged[], job: Job): Finding[] {
  const carries = new Map(judged.map(({ measures }) => [measures.lead.outputNumber, measures.identity.identifiedAs]))
  const seen = new Set<number>()
  const findings: Finding[] = []
  for (const { measures, checks } of judged) {
    const start = measures.lead.outputNumber
    if (seen.has(start) || measures.isDead || carries.get(start) === start) continue
    const round: number[] = []
    let at: number | null | undefined = start
    while (at !== null && at !== undefined && !seen.has(at) && carries.get(at) !== at) {
      seen.add(at)
      round.push(at)
      at = carries.get(at)
    }
    const names = round.map((number) => `${number} ${job.outputs.find((spec) => spec.number === number)!.label}`)
    findings.push({
      kind: 'swapped',
      verdict: verdictOf(checks, 'identity') === 'unsure' ? 'unsure' : 'fail',
      outputs: round,
      title:
        round.length === 1
          ? `Output ${names[0]} carries the signal of ${measures.spec.number} ${measures.spec.label}`
          : `Outputs ${listed(names)} are swapped`,
      because: round
        .map((number) => `Lead ${number} carries the sides, band and level of ${carries.get(number)}.`)
        .join(' '),
      next: 'Check the pins of these outputs against the harness sheet, then the leads of the rig, and take it again.',
    })
  }
  return findings
}

/** Outputs that the map cannot tell apart, once for each group. */
export function alikes(judged: readonly Judged[], job: Job): Finding[] {
  const specOf = (number: number): OutputSpec => job.outputs.find((spec) => spec.number === number)!
  const done = new Set<number>()
  const findings: Finding[] = []
  for (const { measures } of judged) {
    const own = measures.lead.outputNumber
    if (done.has(own) || measures.identity.alikeWith.length === 0) continue
    const group = groupOf(own, judged)
    for (const number of group) done.add(number)
    const isHarmless = group.every((number) => isSameEntry(specOf(own), specOf(number)))
    const byFader = new Set(group.map((number) => specOf(number).faderGroup)).size > 1
    findings.push({
      kind: 'alike',
      verdict: isHarmless ? 'pass' : 'unsure',
      outputs: group,
      title: `Outputs ${listed(group)} cannot be told apart`,
      because: isHarmless
        ? 'The map gives them the same sides, band, level and fader group, so a mix-up between them would change nothing.'
        : 'What was measured fits either of them as well as the other.',
      next: isHarmless
        ? 'Nothing to do; to tell them apart, unplug one and take it again.'
        : byFader
          ? 'Ask for the take with the fader to the front (extra_takes: [fader_front] in the job file).'
          : 'Unplug one of them and take it again, or give the map what tells them apart.',
    })
  }
  return findings
}

/** An output with all that are alike to it, and alike to those, in order. */
function groupOf(number: number, judged: readonly Judged[]): number[] {
  const group = new Set([number])
  // A set visits what is added to it while it is walked.
  for (const member of group) {
    const one = judged.find(({ measures }) => measures.lead.outputNumber === member)
    for (const other of one?.measures.identity.alikeWith ?? []) group.add(other)
  }
  return [...group].sort((a, b) => a - b)
}
