/** Interruptions of every lead, from all of its takes, and whether all leads of the take share them. */
import type { Setting } from '../rig/roles.js'
import type { InputAnalysis } from './input-analysis.js'
import type { Interruption } from './interruption.js'
import { commonTo } from './interruptions.js'
import type { LeadData } from './lead.js'

export interface FoundInterruption {
  readonly interruption: Interruption
  readonly setting: Setting
  /** All leads that could show it do, or most of them: what they share is to blame, and no output. */
  readonly isCommon: boolean
}

/** From so many leads on, and so large a share of all, an interruption is none of a single output. */
const COMMON_MIN = 3
const COMMON_SHARE = 0.6

/**
 * @param isDead leads on which nothing can be seen
 * @returns by lead, in order of time within a take
 */
export function interruptionsOf(
  leads: readonly LeadData[],
  isDead: (lead: LeadData) => boolean,
): ReadonlyMap<LeadData, readonly FoundInterruption[]> {
  const found = new Map<LeadData, FoundInterruption[]>(leads.map((lead) => [lead, []]))
  for (const patchName of new Set(leads.map((lead) => lead.patchName))) {
    const together = leads.filter((lead) => lead.patchName === patchName)
    const settings: Setting[] = ['reference', ...new Set(together.flatMap(({ others }) => [...others.keys()]))]
    for (const setting of settings) {
      const analyses = together.map((lead): InputAnalysis | undefined =>
        setting === 'reference' ? lead.analysis : lead.others.get(setting),
      )
      const lists = analyses.map((analysis, k) => (isDead(together[k]) || !analysis ? null : analysis.interruptions))
      const samplesPerS = analyses.find((analysis) => analysis)?.samplesPerS ?? 0
      const live = lists.filter((list) => list !== null).length
      for (const { interruption, inputs, isCommon: areAll } of commonTo(lists, samplesPerS)) {
        // A subwoofer that has nothing to play just then cannot show it.
        const isCommon = areAll || inputs.length >= Math.max(COMMON_MIN, COMMON_SHARE * live)
        for (const input of inputs) found.get(together[input])!.push({ interruption, setting, isCommon })
      }
    }
  }
  return found
}
