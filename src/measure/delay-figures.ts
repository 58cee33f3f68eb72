/** Polarity and delay of outputs, from what the minimum phase leaves over; delays only compare inside one patch. */
import type { OutputSpec } from '../job/job.js'
import type { ExcessPhase } from './analysis.js'
import { type Estimate, estimate } from './estimate.js'
import { isSettled } from './excess-phase.js'

export interface Polarity {
  readonly sign: 1 | -1
  readonly confidence: number
  readonly rival: number
  readonly isSure: boolean
}

/** @param gainSign sign with which the output should hear the side that the excess phase was read from */
export function polarityOf(excess: ExcessPhase, gainSign: number): Polarity {
  const { confidence, rival } = excess
  return { sign: excess.sign * gainSign > 0 ? 1 : -1, confidence, rival, isSure: isSettled(excess) }
}

/** What delays of several outputs need to know of one. */
export interface Timed {
  readonly patchName: string
  readonly spec: OutputSpec
  /** null where it is dead or its sign is not settled: then it has no delay to speak of. */
  readonly excess: ExcessPhase | null
  /** The sweep that it was read from, and the standard uncertainty (s) of the time between both sweeps. */
  readonly side: 'left' | 'right'
  readonly sweepsApartU: number
}

/** Two outputs that were read from different sweeps depend on the clock between them. */
const clockBetween = (one: Timed, other: Timed): Readonly<Record<string, number>> =>
  one.side === other.side ? {} : { 'clock between the sweeps': Math.max(one.sweepsApartU, other.sweepsApartU) }

const late = ({ excess, spec }: Timed): number => excess!.delayS - spec.delayS

/** Delay against the other outputs of the same patch, each less what the map expects. */
export function relativeDelay(one: Timed, all: readonly Timed[]): Estimate | null {
  const peers = all
    .filter(({ patchName, excess }) => patchName === one.patchName && excess)
    .sort((a, b) => late(a) - late(b))
  if (!one.excess || peers.length < 2) return null
  // The middle one sets the time; of two, the earlier.
  const reference = peers[(peers.length - 1) >> 1]
  const contributions: Record<string, number> = { 'phase fit': one.excess.delayU / 2 }
  if (reference !== one) {
    contributions['phase fit, reference'] = reference.excess!.delayU / 2
    Object.assign(contributions, clockBetween(one, reference))
  }
  return estimate(late(one) - late(reference), contributions, 'excess delay in its patch/2')
}

export interface DelaySpread {
  readonly patchName: string
  readonly spreadS: Estimate
  readonly earliest: number
  readonly latest: number
}

/** From the earliest to the latest output of each patch, less what the map expects; patches of one output have none. */
export function delaySpreads(all: readonly (Timed & { readonly outputNumber: number })[]): DelaySpread[] {
  return [...new Set(all.map(({ patchName }) => patchName))].flatMap((patchName) => {
    const peers = all.filter((one) => one.patchName === patchName && one.excess).sort((a, b) => late(a) - late(b))
    if (peers.length < 2) return []
    const [first, last] = [peers[0], peers.at(-1)!]
    return [
      {
        patchName,
        earliest: first.outputNumber,
        latest: last.outputNumber,
        spreadS: estimate(
          late(last) - late(first),
          {
            'phase fit, earliest': first.excess!.delayU / 2,
            'phase fit, latest': last.excess!.delayU / 2,
            ...clockBetween(first, last),
          },
          'delay spread in its patch/1',
        ),
      },
    ]
  })
}
