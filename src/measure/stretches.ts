/**
 * The stretches of a take in which what should be there is known well enough to see that something else is: silence, the
 * sweeps and the steady tones, each with the phase of what plays in it.
 *
 * Samples are those of the take. Ends are left out, where signals rise and outputs open or shut.
 */
import { type SectionKind, SWEEP, sectionsOf, sweepPhaseRad } from '../stimulus/layout.js'
import type { Located } from './analysis.js'

export interface Stretch {
  readonly kind: SectionKind
  /** First sample, and the one after the last. */
  readonly from: number
  readonly to: number
  readonly isSweep: boolean
  /** Frequencies (player's Hz) that sound together at a sample; none in silence. */
  readonly freqsHz: (sample: number) => readonly number[]
  /** Phase (radians) of each of them at a sample, as played; the output's own delay is in the sweep's, not in a tone's. */
  readonly phasesRad: (sample: number) => readonly number[]
}

/** What is left out at both ends: rise and fall of the tones, and outputs that open late. */
const SETTLE_S = { silence: 0.8, tone: 0.04, quiet_tone: 0.04, staircase: 0.014, two_tone: 0.04 } as const
const LEAVE_S = { silence: 0.05, tone: 0.014, quiet_tone: 0.014, staircase: 0.012, two_tone: 0.014 } as const
/** After a sweep its response dies away; then the rest of its section is silence too. */
const TAIL_SETTLE_S = 0.6
const SWEEP_FROM_HZ = 20
const SWEEP_TO_HZ = 20_500

/**
 * @param centreS delay of the output's response to the sweeps
 * @param count samples of the take: what lies outside of it is left out
 */
export function stretchesOf(located: Located, centreS: number, count: number): readonly Stretch[] {
  const { startSample, samplesPerS } = located
  const at = (s: number): number => Math.round(startSample + s * samplesPerS)
  const out: Stretch[] = []
  const add = (stretch: Stretch): void => {
    if (stretch.from >= 0 && stretch.to <= count && stretch.to > stretch.from) out.push(stretch)
  }
  for (const { kind, startS, durationS, tones } of sectionsOf()) {
    if (kind === 'sweep_left' || kind === 'sweep_right') {
      const toHz = Math.min(SWEEP_TO_HZ, 0.45 * samplesPerS)
      const sinceS = (n: number): number => (n - startSample) / samplesPerS - startS - centreS
      const [firstS, lastS] = [SWEEP_FROM_HZ, toHz].map((hz) => SWEEP.rateS * Math.log(hz / SWEEP.freqHzStart))
      add({
        kind,
        from: at(startS + centreS + firstS),
        to: at(startS + centreS + lastS),
        isSweep: true,
        freqsHz: (n) => [SWEEP.freqHzStart * Math.exp(sinceS(n) / SWEEP.rateS)],
        phasesRad: (n) => [sweepPhaseRad(sinceS(n), SWEEP.freqHzStart, SWEEP.rateS)],
      })
      add(silence(kind, at(startS + durationS + TAIL_SETTLE_S), at(startS + durationS + SWEEP.tailS - LEAVE_S.silence)))
    } else if (kind in SETTLE_S) {
      const key = kind as keyof typeof SETTLE_S
      const [from, to] = [at(startS + SETTLE_S[key]), at(startS + durationS - LEAVE_S[key])]
      if (tones.length === 0) add(silence(kind, from, to))
      else {
        const freqsHz = tones.map(({ freqHz }) => freqHz)
        const steps = freqsHz.map((freqHz) => (2 * Math.PI * freqHz) / samplesPerS)
        add({
          kind,
          from,
          to,
          isSweep: false,
          freqsHz: () => freqsHz,
          phasesRad: (n) => steps.map((step) => step * (n - from)),
        })
      }
    }
  }
  return out
}

const silence = (kind: SectionKind, from: number, to: number): Stretch => ({
  kind,
  from,
  to,
  isSweep: false,
  freqsHz: () => [],
  phasesRad: () => [],
})
