/** What is said of an interruption: its kinds, its place and how sure both are. */
import type { SectionKind } from '../stimulus/layout.js'

/**
 * - dropout: next to nothing is there though something should be
 * - repeat: a stretch is there again that was there just before
 * - click: a short burst on top of a signal that goes on as before
 * - jump: from here on everything is earlier (samples were lost) or later (samples were added)
 * - disturbance: something is wrong that is none of these, or might be several of them
 */
export type InterruptionKind = 'dropout' | 'repeat' | 'click' | 'jump' | 'disturbance'

export interface Interruption {
  readonly kind: InterruptionKind
  readonly section: SectionKind
  /** First sample of the take that isn't what it should be, and the same as time in the track. */
  readonly atSample: number
  readonly atS: number
  /** Standard uncertainty of the place, in samples: what noise and a slow output's ringing leave open. */
  readonly atSampleU: number
  /** Samples that aren't what they should be; 0 for a jump. */
  readonly lengthSamples: number
  /**
   * By how many samples of the take everything after comes later than before; negative: earlier, samples were lost. 0 where
   * nothing moved, null where it can't be told.
   */
  readonly lateSamples: number | null
  /** How far back what a repeat repeats was there the first time; null for the other kinds. */
  readonly lagSamples: number | null
  /** Largest deviation from what should be there; fraction of full scale. */
  readonly peakFs: number
  /** Share of the deviation's energy that the named kind explains, 0 to 1. */
  readonly explained: number
}
