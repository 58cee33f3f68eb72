/** What is read from the whole response of an output: crosstalk, full-band level, group delay. */
import type { OutputSpec } from '../job/job.js'
import { fullScaleAtLead, type RigInput } from '../rig/rig.js'
import type { Transfer } from './analysis.js'
import { CROSSTALK_METHOD, type Crosstalk, crosstalkCurve } from './crosstalk.js'
import { type Estimate, estimate, relativeFromDb } from './estimate.js'
import { FULL_BAND_METHOD, fullBandLevel } from './full-band.js'
import { type GroupDelay, groupDelayOf } from './group-delay.js'
import { heardOf } from './heard.js'
import { calibrationBudget } from './rig-reach.js'

export interface ResponseFigures {
  /** The side that it shouldn't hear against the one that it should, worst in the band; null where it hears both. */
  readonly crosstalkDb: Estimate | null
  readonly crosstalk: Crosstalk | null
  /** Rms over its band, each octave alike: what pink noise of 0 dBFS comes out with. */
  readonly fullBandVrms: Estimate | null
  readonly groupDelay: GroupDelay | null
}

export const NO_RESPONSE: ResponseFigures = {
  crosstalkDb: null,
  crosstalk: null,
  fullBandVrms: null,
  groupDelay: null,
}

/** Within 6 dB of the rig's own, crosstalk is the rig's as much as the vehicle's. */
const REACH_DB = 6

/** What the course between grid points leaves on a mean over the band, standard (tried without noise: up to 0.0008 dB). */
const BETWEEN_POINTS_DB = 0.0003

/** @param heard the map entry with the sides as the output does hear them */
export function responseFigures(
  transfer: Transfer,
  input: RigInput,
  spec: OutputSpec,
  heard: OutputSpec,
): ResponseFigures {
  const response = heardOf(transfer, heard.leftGain, heard.rightGain)
  const hearsBoth = spec.leftGain !== 0 && spec.rightGain !== 0
  const crosstalk = hearsBoth ? null : crosstalkCurve(transfer, spec.leftGain !== 0)
  const [lowHz, highHz] = [Math.max(20, spec.lowHz ?? 20), Math.min(20_000, spec.highHz ?? 20_000)]
  const band = fullBandLevel(response, lowHz, highHz)
  const volts = band.pinkGain * fullScaleAtLead(input)
  return {
    crosstalk,
    crosstalkDb: hearsBoth ? null : worstOf(crosstalk, transfer, spec, input),
    fullBandVrms: estimate(
      volts,
      {
        ...Object.fromEntries(
          Object.entries(calibrationBudget(input)).map(([source, uDb]) => [source, volts * relativeFromDb(uDb)]),
        ),
        noise: volts * band.pinkGainU,
        'response window': volts * relativeFromDb(BETWEEN_POINTS_DB),
      },
      FULL_BAND_METHOD,
    ),
    groupDelay: groupDelayOf(response),
  }
}

function worstOf(crosstalk: Crosstalk | null, transfer: Transfer, spec: OutputSpec, input: RigInput): Estimate | null {
  const own = input.own?.loop?.crosstalk ?? null
  if (crosstalk) {
    const { levelDb, levelDbU, isAtMost, freqHz } = crosstalk.worst
    const isRigs = own !== null && levelDb < own.db + REACH_DB
    return estimate(levelDb, { noise: levelDbU }, CROSSTALK_METHOD, { isAtMost: isAtMost || isRigs, freqHz })
  }
  // Its own side is nowhere to be heard: then the other one is held against that, and turned round.
  const turned = crosstalkCurve(transfer, spec.leftGain === 0)
  if (!turned) return null
  const { levelDb, levelDbU, freqHz } = turned.worst
  return estimate(-levelDb, { noise: levelDbU }, CROSSTALK_METHOD, { freqHz })
}
