/**
 * Which output of the map each lead carries: one assignment over all leads, so that a swap is one answer and not two.
 *
 * The cost of a lead under a map entry is a sum of squared differences in source sides, band, level and fader group,
 * each in units of what a sound installation differs by, each capped so that one fault cannot hide who it is.
 */
import { linearSumAssignment } from 'linear-sum-assignment'
import type { OutputSpec } from '../job/job.js'
import { median, type Passband } from './passband.js'

/** What identity needs to know of one lead. */
export interface LeadFeatures {
  /** The output that should be on this lead. */
  readonly outputNumber: number
  /** null: nothing comes out of it. */
  readonly passband: Passband | null
  /** Level (dBV) for 0 dBFS on the sides it hears, at a frequency. */
  readonly levelDbvAt: (freqHz: number) => number
  /** Drop of level with the fader to the front, dB; null when no such take was made. */
  readonly faderDropDb: number | null
}

export interface Identity {
  readonly outputNumber: number
  /** The map entry that it fits best; null for a dead lead. */
  readonly identifiedAs: number | null
  /** Other leads with which it could be exchanged at no cost worth speaking of. */
  readonly alikeWith: readonly number[]
}

/** What counts as one unit of difference; and the most that one feature may cost. */
const SIDE_RAD = Math.PI / 12
const OCTAVES = 0.5
const LEVEL_DB = 3
const FEATURE_MAX = 9
const LEVEL_MAX = 4
/** A tie is settled for the lead's own number. */
const OWN_BONUS = 0.05
/** A lead fits an entry up to this cost. */
const FITS_MAX = 4
/** Exchanging two leads must cost this much more before they count as told apart. */
const MARGIN = 1

export function identify(leads: readonly LeadFeatures[], specs: readonly OutputSpec[]): Identity[] {
  const alive = leads.filter((lead) => lead.passband !== null)
  if (alive.length === 0) return leads.map(({ outputNumber }) => ({ outputNumber, identifiedAs: null, alikeWith: [] }))
  const offsetDb = commonOffsetDb(alive, specs)
  const costs = alive.map((lead) => specs.map((spec) => costOf(lead, spec, offsetDb)))
  const { rowAssignments } = linearSumAssignment(costs, { maximaze: false })
  const entryOf = Array.from(rowAssignments)
  return leads.map((lead) => {
    const row = alive.indexOf(lead)
    if (row < 0) return { outputNumber: lead.outputNumber, identifiedAs: null, alikeWith: [] }
    const alikeWith = alive
      .filter((_, k) => {
        if (k === row) return false
        const [exchanged, otherExchanged] = [costs[row][entryOf[k]], costs[k][entryOf[row]]]
        // An entry that a lead doesn't fit is no rival, though its own may fit as badly: that is a fault, not a doubt.
        if (Math.max(exchanged, otherExchanged) > FITS_MAX) return false
        return exchanged + otherExchanged - costs[row][entryOf[row]] - costs[k][entryOf[k]] < MARGIN
      })
      .map(({ outputNumber }) => outputNumber)
    return { outputNumber: lead.outputNumber, identifiedAs: specs[entryOf[row]].number, alikeWith }
  })
}

/** By how much all outputs are off together: the head unit's volume, not any output's identity. */
export function commonOffsetDb(leads: readonly LeadFeatures[], specs: readonly OutputSpec[]): number {
  const offsets = leads.flatMap((lead) => {
    const spec = specs.find(({ number }) => number === lead.outputNumber)
    return spec && lead.passband ? [levelDeviationDb(lead, spec)] : []
  })
  return offsets.length > 0 ? median(offsets) : 0
}

const levelDeviationDb = (lead: LeadFeatures, spec: OutputSpec): number =>
  lead.levelDbvAt(spec.referenceHz) - 20 * Math.log10(spec.levelVrms * Math.hypot(spec.leftGain, spec.rightGain))

const capped = (difference: number, unit: number, most: number): number => Math.min(most, (difference / unit) ** 2)

function costOf(lead: LeadFeatures, spec: OutputSpec, offsetDb: number): number {
  const { passband, faderDropDb } = lead
  if (passband === null) return 0
  const sideRad = Math.atan2(Math.abs(spec.rightGain), Math.abs(spec.leftGain))
  let cost = capped(passband.sideRad - sideRad, SIDE_RAD, FEATURE_MAX)
  const hearsBoth = spec.leftGain !== 0 && spec.rightGain !== 0
  if (hearsBoth && passband.sideRad > 0.2 && passband.sideRad < 1.37) {
    cost += capped(passband.sidePhase - Math.sign(spec.leftGain * spec.rightGain), 0.5, FEATURE_MAX)
  }
  cost += capped(Math.log2((passband.lowHz ?? 20) / (spec.lowHz ?? 20)), OCTAVES, FEATURE_MAX)
  cost += capped(Math.log2((passband.highHz ?? 20_000) / (spec.highHz ?? 20_000)), OCTAVES, FEATURE_MAX)
  cost += capped(levelDeviationDb(lead, spec) - offsetDb, LEVEL_DB, LEVEL_MAX)
  if (faderDropDb !== null && faderDropDb > 12 !== (spec.faderGroup === 'rear')) cost += FEATURE_MAX
  return cost - (lead.outputNumber === spec.number ? OWN_BONUS : 0)
}
