/**
 * What the modelled vehicle's chimes sound like: bursts of two tones in turn, at pitches that a chime's name fixes.
 *
 * Invented; no vehicle sounds so. A burst swells and dies as half a cosine does.
 */
import type { ChimeSpec } from '../job/chimes.js'
import type { OutputSpec } from '../job/job.js'
import { ratioFromDb } from '../units/level.js'
import type { ChimeFault } from './fault-chimes.js'
import { between, evenRandom, seedFor } from './seeded.js'

const BURST = { count: 6, lengthS: 0.16, everyS: 0.32, fadeS: 0.008 } as const
/** Between a person's hand and the first burst. */
const REACTION_S = 0.4
const PITCH_HZ = [700, 1100] as const
/** The second tone against the first: a major third lower. */
const SECOND_RATIO = 4 / 5
/** Against an output's level for a full-scale sine. */
const LEVEL_DB = -26

export interface ChimeModel {
  readonly freqHz: readonly [number, number]
  /** Peak (V) by output number; empty where it never sounds. */
  readonly peakV: ReadonlyMap<number, number>
}

/** A chime that was made to sound, and when. */
export interface Sounding {
  readonly chime: ChimeModel
  /** In seconds of the capture. */
  readonly atS: number
}

export function chimeModel(spec: ChimeSpec, outputs: readonly OutputSpec[], fault: ChimeFault | null): ChimeModel {
  const pitchHz = between(evenRandom(seedFor(0, 'chime', spec.name)), ...PITCH_HZ)
  const from = fault?.isSilent ? [] : (fault?.outputs ?? spec.outputs)
  const sounding = outputs.filter(({ number }) => from.includes(number))
  const ratio = Math.SQRT2 * ratioFromDb(LEVEL_DB + (fault?.levelDb ?? 0))
  return {
    freqHz: [pitchHz, SECOND_RATIO * pitchHz],
    peakV: new Map(sounding.map(({ number, levelVrms }) => [number, ratio * levelVrms])),
  }
}

/**
 * Adds a chime to volts on a lead, in place.
 *
 * @param gainAt what the output makes of a frequency, 1 inside its band
 * @param fromS where the first sample stands in the capture (s)
 */
export function addChime(
  volts: Float32Array,
  { chime, atS }: Sounding,
  outputNumber: number,
  gainAt: (freqHz: number) => number,
  fromS: number,
  samplesPerS: number,
): void {
  const peakV = chime.peakV.get(outputNumber)
  if (peakV === undefined) return
  for (let burst = 0; burst < BURST.count; burst++) {
    const startS = atS + REACTION_S + burst * BURST.everyS
    const freqHz = chime.freqHz[burst % 2]
    const peak = peakV * gainAt(freqHz)
    const first = Math.max(0, Math.ceil((startS - fromS) * samplesPerS))
    const end = Math.min(volts.length, Math.ceil((startS - fromS + BURST.lengthS) * samplesPerS))
    for (let n = first; n < end; n++) {
      const timeS = fromS + n / samplesPerS - startS
      const edge = Math.min(1, Math.min(timeS, BURST.lengthS - timeS) / BURST.fadeS)
      volts[n] += peak * 0.5 * (1 - Math.cos(Math.PI * edge)) * Math.sin(2 * Math.PI * freqHz * timeS)
    }
  }
}
