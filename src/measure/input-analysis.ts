/** Everything that one input of a take tells, before it is known which output it is. */
import type { ExcessPhase, NoiseReading, ToneReading, Transfer } from './analysis.js'
import type { Intermodulation } from './intermodulation.js'
import type { Interruption } from './interruption.js'
import type { Envelope, GainChange } from './limiting.js'
import type { LossySource } from './lossy-source.js'
import type { StaircaseReading } from './staircase.js'
import type { SweepDistortion } from './sweep-distortion.js'
import type { TimeVariance } from './time-variance.js'

export interface InputAnalysis {
  readonly transfer: Transfer
  readonly left: ExcessPhase | null
  readonly right: ExcessPhase | null
  readonly tones: readonly ToneReading[]
  readonly sweepDistortion: SweepDistortion | null
  /** Of each tone that comes through. */
  readonly staircases: readonly StaircaseReading[]
  /** Gains of each tone that comes through, from signals of different level and length. */
  readonly gainChanges: readonly GainChange[]
  /** The strongest tone over its two seconds. */
  readonly envelope: Envelope | null
  /** 60 Hz and 7 kHz; 19 and 20 kHz. Null where both tones of a pair do not come through. */
  readonly modulation: Intermodulation | null
  readonly differenceTones: Intermodulation | null
  readonly idle: NoiseReading
  /** The same with a quiet tone playing, the tone taken out. */
  readonly present: NoiseReading
  readonly lossySource: LossySource
  readonly interruptions: readonly Interruption[]
  readonly timeVariance: TimeVariance | null
  /** The silence itself, of a take with the engine running: its whine is followed through it. Null for other takes. */
  readonly silence: Float32Array | null
  readonly samplesPerS: number
  /** Standard uncertainty (s) of the time between the left and the right sweep: what a delay read from both has besides its own. */
  readonly sweepsApartU: number
  /** Samples at full scale, and the largest one, in the sections that figures are read from. */
  readonly clippedSampleCount: number
  readonly peakFs: number
}
