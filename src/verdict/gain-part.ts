/** What a part of the gain structure leaves, and the words that its parts share. */
import type { Job } from '../job/job.js'
import type { Check, Figure, Finding } from './parts.js'

export interface Part {
  readonly checks: readonly Check[]
  readonly findings: readonly Finding[]
  readonly figures: readonly (Figure | null)[]
}

export const volumeName = (volume: number | null): string =>
  volume === null ? 'the reference volume' : `volume ${volume}`

/** Distortion from which an output counts as clipped, per cent. */
export const limitOf = ({ gains, limits }: Job): number => gains.thdPctMax ?? limits.thdPctMax
