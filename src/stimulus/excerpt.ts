/**
 * Excerpts of the track between markers of their own: for what needs no more than the sweeps, or the staircases.
 *
 * Inside an excerpt all stands as far apart as in the track. So a take of an excerpt is located as a part of the track, and
 * whatever reads that part of a track's take reads an excerpt's. Times are seconds from the excerpt's first sample.
 */
import { CHIRP, CLOSING_SPACING_S, type SectionKind, SWEEP, sectionsOf, TONE_HZ } from './layout.js'

export type ExcerptKind = 'sweeps' | 'staircases'

/** No revision of the track has this inner distance in its opening marker. */
export const EXCERPT_OPENING_SPACING_S = 0.37

export interface Excerpt {
  readonly kind: ExcerptKind
  /** The quiet tones that wake an output which mutes itself. */
  readonly prerollS: number
  readonly openingS: number
  readonly closingS: number
  readonly durationS: number
  /** The track's sections that are in it, at their times in the excerpt. */
  readonly sections: ReturnType<typeof sectionsOf>
  /** How much later they stand in the track. */
  readonly laterInTrackS: number
}

const KINDS: Readonly<Record<ExcerptKind, readonly SectionKind[]>> = {
  sweeps: ['sweep_left', 'sweep_right'],
  staircases: ['staircase'],
}
const PREROLL_S = 0.6
const GAP_S = 0.25
/** After a section, for what is still dying away. */
const REST_S: Readonly<Record<ExcerptKind, number>> = { sweeps: SWEEP.tailS, staircases: 0.4 }
const END_S = 0.5

export function excerptOf(kind: ExcerptKind): Excerpt {
  const inTrack = sectionsOf().filter((section) => KINDS[kind].includes(section.kind))
  const openingS = PREROLL_S + GAP_S
  // Room for the last chirp to die away.
  const firstS = openingS + EXCERPT_OPENING_SPACING_S + CHIRP.durationS + 0.5
  // Whole hundredths: whole samples at either rate, so that the samples are the track's own.
  const laterInTrackS = Math.floor(100 * (inTrack[0].startS - firstS)) / 100
  const sections = inTrack.map((section) => ({ ...section, startS: section.startS - laterInTrackS }))
  const last = sections.at(-1)!
  const closingS = last.startS + last.durationS + REST_S[kind]
  return {
    kind,
    prerollS: PREROLL_S,
    openingS,
    closingS,
    durationS: closingS + CLOSING_SPACING_S + CHIRP.durationS + END_S,
    sections,
    laterInTrackS,
  }
}

/** The staircase that is read at an output: nearest to where its level is read, by octaves. */
export const staircaseHzFor = (referenceHz: number): number =>
  [...TONE_HZ].sort((a, b) => Math.abs(Math.log(a / referenceHz)) - Math.abs(Math.log(b / referenceHz)))[0]
