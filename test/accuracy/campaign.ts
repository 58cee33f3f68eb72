/** Many drawn vehicles measured as a run would, and each figure held against the truth and its own uncertainty. */
import { StopError } from '../../src/units/stop.js'
import { type Base, baseOf } from './chain.js'
import type { Read } from './measurand.js'
import { MEASURANDS } from './measurands.js'
import { isAsDrawn } from './measurands-equaliser.js'
import { takeOf } from './taken.js'
import type { Bound, Trial } from './trial.js'
import { drawVehicle } from './vehicle.js'

/** Counts of what is right or wrong and has no size. */
export interface Counts {
  takes: number
  /** What was said of takes that were refused. */
  readonly refused: string[]
  identitiesWrong: number
  polarities: number
  polaritiesWrong: number
  polaritiesUnsure: number
  /** Seeds of takes in which another number of sections was found than drawn. */
  readonly sectionsMiscounted: number[]
}

export interface Campaign {
  readonly snrDb: number
  readonly trials: Record<string, Trial[]>
  readonly bounds: Record<string, Bound[]>
  readonly counts: Counts
}

/** Vehicles that share a player and a clock. */
const PER_BASE = 25

/** @param count vehicles; their seeds are the numbers from firstSeed on */
export function runCampaign(snrDb: number, count: number, firstSeed: number): Campaign {
  const campaign: Campaign = {
    snrDb,
    trials: Object.fromEntries(MEASURANDS.map(({ name }) => [name, []])),
    bounds: Object.fromEntries(MEASURANDS.map(({ name }) => [name, []])),
    counts: {
      takes: 0,
      refused: [],
      identitiesWrong: 0,
      polarities: 0,
      polaritiesWrong: 0,
      polaritiesUnsure: 0,
      sectionsMiscounted: [],
    },
  }
  let base: Base | null = null
  for (let k = 0; k < count; k++) {
    if (base === null || k % PER_BASE === 0) base = baseOf(firstSeed + k)
    addTake(campaign, base, firstSeed + k)
  }
  return campaign
}

function addTake({ snrDb, trials, bounds, counts }: Campaign, base: Base, seed: number): void {
  const vehicle = drawVehicle(seed)
  counts.takes++
  try {
    const { truth, located, outputs } = takeOf(base, vehicle, snrDb)
    if (outputs === null) {
      counts.identitiesWrong++
      return
    }
    const read: Read = { truth, located, outputs }
    outputs.forEach(({ polarity }, k) => {
      counts.polarities++
      if (!polarity?.isSure) counts.polaritiesUnsure++
      else if (polarity.sign !== vehicle.sign[k]) counts.polaritiesWrong++
    })
    if (!isAsDrawn(read)) counts.sectionsMiscounted.push(seed)
    for (const measurand of MEASURANDS) {
      for (const one of measurand.read(read)) {
        if ('isHeld' in one) bounds[measurand.name].push({ ...one, seed })
        else trials[measurand.name].push({ ...one, seed })
      }
    }
  } catch (error) {
    if (!(error instanceof StopError)) throw error
    counts.refused.push(`seed ${seed}: ${error.message}`)
  }
}
