/**
 * Which outputs of the map each lead may be on, from what its input hears of the probe.
 *
 * A fit compares levels of twelve tones (two sides, three bands) with the map's, in decibels. What lies under the noise, or
 * 30 dB under the loudest tone, is alike for all outputs: so noise makes a reading unsure, never a lead wrong.
 */
import type { OutputSpec } from '../job/job.js'
import { fullScaleAtLead, type Lead, type Rig } from '../rig/rig.js'
import { mappedVrms, PROBE_TONES, type ProbeBand, type ProbeSide } from '../stimulus/lead-probe.js'
import { dbFromRatio, ratioFromDb } from '../units/level.js'
import type { LeadReading } from './lead-probe.js'
import { median } from './passband.js'

/**
 * agrees: it may be the output that the plan has there. other: it is like another output of the map, and not like its own.
 * unlike: it is like none. silent: it hears nothing where it should stand clear of the noise. unsure: noise hides the answer.
 */
export type LeadKind = 'agrees' | 'other' | 'unlike' | 'silent' | 'unsure'

export interface LeadVerdict extends Lead {
  readonly kind: LeadKind
  /** Outputs of the map that it may be, best first. */
  readonly mayBe: readonly number[]
  readonly hears: Heard
  /** What the map's output would be heard as. */
  readonly expected: Heard
  /** Loudest tone against that of the map's output, without what all inputs are off by together; null where nothing is heard. */
  readonly offDb: number | null
}

/** Sides and bands that stand within 15 dB of the loudest tone. */
export interface Heard {
  readonly sides: readonly ProbeSide[]
  readonly bands: readonly ProbeBand[]
}

/** A lead that hears nothing is taken for silent where what it should hear stands so far out of its noise. */
const CLEAR_DB = 12
/** Rms of noise in a tone's place reads up to this much more. */
const NOISE_SPREAD = 3
const REACH_DB = 30
const HEARD_DB = 15
/** What counts as one unit of difference: sound installations differ by that much, and slopes by a share of their depth. */
const UNIT_DB = 3
const SLOPE_SHARE = 0.25
const TONE_MOST = 9
const TONE_WEIGHT = 0.5
const LEVEL_DB = 3
const LEVEL_MOST = 4
/** An output fits up to this; a lead is off its own output from the next on, if that is so much more than the best. */
const FITS_MOST = 3
const OFF_FROM = 4
const OFF_BY = 3
/** What another input leaks: so far under what is expected, nothing is heard. */
const LEAK_DB = -35

/** Levels of tones in dB re 1 V rms, and under what they cannot be told. */
interface Levels {
  readonly db: readonly number[]
  readonly floorDb: readonly number[]
}

/** @param readings by input number; inputs that are missing count as hearing nothing without noise */
export function judgeLeads(
  readings: ReadonlyMap<number, LeadReading>,
  leads: readonly Lead[],
  outputs: readonly OutputSpec[],
  rig: Rig,
): LeadVerdict[] {
  const mapped = new Map(outputs.map((spec) => [spec.number, mappedVrms(spec).map(dbFromRatio)]))
  const heard = leads.map(({ inputNumber }) => {
    const reading = readings.get(inputNumber)
    return reading ? levelsOf(reading, fullScaleAtLead(rig.inputs[inputNumber - 1])) : null
  })
  const offsets = leads.flatMap(({ outputNumber }, k) => {
    const levels = heard[k]
    if (!levels || !isHeard(levels)) return []
    const own = fitOf(levels, mapped.get(outputNumber)!, null)
    if (own.cost < OFF_FROM) return [own.offsetDb]
    return [
      [...mapped.values()].map((db) => fitOf(levels, db, null)).reduce((a, b) => (b.cost < a.cost ? b : a)).offsetDb,
    ]
  })
  const commonDb = offsets.length > 0 ? median(offsets) : 0
  return leads.map((lead, k) => verdictOf(lead, heard[k], mapped, commonDb))
}

function verdictOf(
  lead: Lead,
  levels: Levels | null,
  mapped: ReadonlyMap<number, readonly number[]>,
  commonDb: number,
): LeadVerdict {
  const own = mapped.get(lead.outputNumber)!
  const base = { ...lead, mayBe: [], hears: { sides: [], bands: [] }, expected: heardOf(own), offDb: null }
  const mostDb = Math.max(...own) + commonDb
  if (!levels) return { ...base, kind: 'silent' }
  const loudestDb = Math.max(...levels.db)
  const isThere = isHeard(levels)
  if (!isThere || loudestDb < mostDb + LEAK_DB) {
    const clearDb = Math.max(...own.map((db, k) => db + commonDb - levels.floorDb[k]))
    return { ...base, kind: clearDb > CLEAR_DB ? 'silent' : 'unsure' }
  }
  const fits = [...mapped].map(([number, db]) => ({ number, ...fitOf(levels, db, commonDb) }))
  fits.sort((a, b) => a.cost - b.cost)
  const ownFit = fits.find(({ number }) => number === lead.outputNumber)!
  const [best] = fits
  const mayBe = fits.filter(({ cost }) => cost <= Math.max(FITS_MOST, best.cost) && cost < best.cost + OFF_BY)
  const seen = { ...base, mayBe: mayBe.map(({ number }) => number), hears: heardOf(levels.db, levels.floorDb) }
  const said = { ...seen, offDb: loudestDb - mostDb }
  if (ownFit.cost >= OFF_FROM && ownFit.cost >= best.cost + OFF_BY && best.cost <= FITS_MOST) {
    return { ...said, kind: 'other' }
  }
  if (ownFit.cost >= OFF_FROM) return { ...said, kind: 'unlike', mayBe: [] }
  // Outputs that noise alone makes alike leave the lead open; those that the map has alike do not.
  const isHidden = seen.mayBe.some((number) => number !== lead.outputNumber && !isAlike(own, mapped.get(number)!))
  return { ...said, kind: isHidden ? 'unsure' : 'agrees' }
}

/** Whether the map has two outputs so alike that no probe could tell a lead on one from a lead on the other. */
export function isAlike(one: readonly number[], other: readonly number[]): boolean {
  return fitOf(noiseless(one), other, 0).cost < OFF_FROM || fitOf(noiseless(other), one, 0).cost < OFF_FROM
}

const noiseless = (db: readonly number[]): Levels => {
  const floorDb = Math.max(...db) - REACH_DB
  return { db: db.map((value) => Math.max(value, floorDb)), floorDb: db.map(() => floorDb) }
}

function levelsOf({ peakFs, noiseFs }: LeadReading, fullScaleVrms: number): Levels {
  const loudest = Math.max(...peakFs)
  const floors = noiseFs.map((noise) => Math.max(NOISE_SPREAD * noise, loudest * ratioFromDb(-REACH_DB), 1e-12))
  return {
    db: peakFs.map((peak, k) => dbFromRatio(Math.max(peak, floors[k]) * fullScaleVrms)),
    floorDb: floors.map((floor) => dbFromRatio(floor * fullScaleVrms)),
  }
}

const isHeard = ({ db, floorDb }: Levels): boolean => db.some((level, k) => level > floorDb[k])

/**
 * The least cost of an output's levels, all raised by one offset.
 * @param commonDb what all inputs are off by together; null: any offset is as good
 */
function fitOf(
  { db, floorDb }: Levels,
  mapped: readonly number[],
  commonDb: number | null,
): { cost: number; offsetDb: number } {
  let best = { cost: Number.POSITIVE_INFINITY, offsetDb: 0 }
  const topDb = Math.max(...mapped)
  for (let tone = 0; tone < db.length; tone++) {
    if (mapped[tone] < topDb - REACH_DB || db[tone] <= floorDb[tone]) continue
    const offsetDb = db[tone] - mapped[tone]
    let cost = commonDb === null ? 0 : Math.min(LEVEL_MOST, ((offsetDb - commonDb) / LEVEL_DB) ** 2)
    for (let k = 0; k < db.length; k++) {
      const wanted = Math.max(mapped[k] + offsetDb, floorDb[k])
      const unit = UNIT_DB + SLOPE_SHARE * Math.max(0, topDb + offsetDb - wanted)
      cost += TONE_WEIGHT * Math.min(TONE_MOST, ((db[k] - wanted) / unit) ** 2)
    }
    if (cost < best.cost) best = { cost, offsetDb }
  }
  return best
}

function heardOf(db: readonly number[], floorDb: readonly number[] | null = null): Heard {
  const leastDb = Math.max(...db) - HEARD_DB
  const loud = PROBE_TONES.filter((_, k) => db[k] >= leastDb && (floorDb === null || db[k] > floorDb[k]))
  const sides = (['left', 'right'] as const).filter((side) => loud.some((tone) => tone.side === side))
  const bands = (['lows', 'mids', 'highs'] as const).filter((band) => loud.some((tone) => tone.band === band))
  return { sides, bands }
}
