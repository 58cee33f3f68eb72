/** Delays of a vehicle against its map's, where both took the same outputs together. */
import type { MapOutput } from '../job/platform.js'
import { type BlindOutput, delayBetween } from '../measure/blind-output.js'
import { inMs } from '../units/words.js'
import { held } from './decision.js'
import type { Verdict } from './parts.js'

/** An output that is alive, with the entry of the map that it is held against. */
export interface Compared {
  readonly output: BlindOutput
  readonly entry: MapOutput
}

export interface ComparedDelay {
  readonly verdict: Verdict
  readonly mapS: number
  readonly toleranceS: number
  readonly measured: string
  readonly why: string
}

/** @returns nothing for outputs whose delay the map does not know */
export function comparedDelays(alive: readonly Compared[]): Map<BlindOutput, ComparedDelay> {
  const keyOf = ({ output, entry }: Compared): string => `${entry.delayGroup} ${output.lead.patchName}`
  return new Map(
    alive.flatMap((one): [BlindOutput, ComparedDelay][] => {
      const { output, entry } = one
      if (entry.delay === null) return []
      const known = { mapS: entry.delay.value, toleranceS: entry.delay.tolerance }
      const peers = alive.filter(
        (other) => keyOf(other) === keyOf(one) && other.output.excess !== null && other.entry.delay !== null,
      )
      if (output.excess === null) {
        const why = 'A delay cannot be read while its polarity is not settled.'
        return [[output, { ...known, verdict: 'unsure', measured: 'not read', why }]]
      }
      if (peers.length < 2) {
        const why = 'It was not taken together with an output of the same group of the map.'
        return [[output, { ...known, verdict: 'unsure', measured: 'not comparable', why }]]
      }
      const lateS = ({ output: its, entry: at }: Compared): number => its.excess!.delayS - at.delay!.value
      // The middle one sets the time, so that one late output does not make the others early; of two, the earlier.
      const middle = [...peers].sort((a, b) => lateS(a) - lateS(b))[(peers.length - 1) >> 1]
      const differenceS = lateS(one) - lateS(middle)
      const { u } = delayBetween(output, middle.output)
      const tolerance = entry.delay.tolerance
      const verdict = held(differenceS, u, { min: -tolerance, max: tolerance })
      const why =
        verdict === 'fail'
          ? `It is ${differenceS > 0 ? 'later' : 'earlier'} than the map says, against the others.`
          : 'The tolerance ends within the uncertainty of the reading.'
      const measured = `${inMs(entry.delay.value + differenceS)} (${inMs(differenceS)})`
      return [[output, { ...known, verdict, measured, why }]]
    }),
  )
}
