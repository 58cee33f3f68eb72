/** Interruptions of every lead, from all of its takes, and whether all leads of the take share them. */
import type { Setting } from '../rig/roles.js'
import type { InputAnalysis } from './input-analysis.js'
import type { Interruption } from './interruption.js'
import { commonTo } from './interruptions.js'
import type { LeadData } from './lead.js'

export interface FoundInterruption {
  readonly interruption: Interruption
  readonly setting: Setting
  /** Every lead of the take that could show it does: what they share is to blame, and no output. */
  readonly isCommon: boolean
}

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
      for (const { interruption, inputs, isCommon } of commonTo(lists, samplesPerS)) {
        for (const input of inputs) found.get(together[input])!.push({ interruption, setting, isCommon })
      }
    }
  }
  return found
}
