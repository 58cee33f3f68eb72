/**
 * The track's timetable: which section stands where, and the closed forms of its signals.
 *
 * Both the rendering and the measuring read this file, so they cannot disagree. Times are seconds from the track's
 * first sample, on the player's clock. Revisions differ in the distance between the two opening chirps.
 */

export const TRACK_REVISION = 1
export const REVISION_COUNT = 16

/** Marker chirp: exponential, both sides alike, so that its correlation peak survives a wrong speed. */
export const CHIRP = { durationS: 0.3, freqHzStart: 20, freqHzEnd: 20_000, peakFs: 0.25 } as const

/** Distance from the first to the second chirp of a marker. */
export const openingSpacingS = (revision: number): number => 0.4 + 0.02 * revision
export const CLOSING_SPACING_S = 0.34

/**
 * Synchronised exponential sweep: f1 L is a whole number, so each harmonic's response keeps its phase.
 * L = 0.5 s, 10 Hz to 22 kHz: T = L ln(f2 / f1) = 3.848 s. Source: A. Novak, P. Lotton, L. Simon, JAES 63(10), 2015.
 */
export const SWEEP = {
  rateS: 0.5,
  freqHzStart: 10,
  freqHzEnd: 22_000,
  durationS: 0.5 * Math.log(22_000 / 10),
  peakFs: 0.25,
  /** Room for the response to die away before the next section. */
  tailS: 1.55,
  /** The sweep ends in a taper, so that its end makes no click. */
  fadeOutS: 0.002,
} as const

export type SectionKind =
  | 'preroll'
  | 'opening'
  | 'silence'
  | 'sweep_left'
  | 'sweep_right'
  | 'tone'
  | 'quiet_tone'
  | 'staircase'
  | 'two_tone'
  | 'closing'

export interface Section {
  readonly kind: SectionKind
  readonly startS: number
  readonly durationS: number
  /** Sines that sound together on both sides: frequency, and peak as a fraction of full scale. */
  readonly tones: readonly { readonly freqHz: number; readonly peakFs: number }[]
}

/** Steady tones; each output is measured at the one that fits its band. */
export const TONE_HZ = [997, 60, 6300] as const
export const TONE_PEAK_FS = 10 ** (-3 / 20)
export const STAIRCASE_DBFS = [-40, -30, -20, -15, -12, -9, -6, -4, -3, -2, -1, 0] as const
export const STAIRCASE_STEP_S = 0.2
/** Rise and fall of every tone: long enough not to click. */
export const TONE_FADE_S = 0.01

const fs = (levelDbfs: number): number => 10 ** (levelDbfs / 20)

/** The timetable of a revision. Only the opening marker's inner distance depends on it. */
export function sectionsOf(): readonly Section[] {
  const sections: Section[] = []
  let atS = 0
  const add = (kind: SectionKind, lengthS: number, gapS: number, tones: Section['tones'] = []): void => {
    sections.push({ kind, startS: atS, durationS: lengthS, tones })
    atS += lengthS + gapS
  }
  // A quiet start wakes an output that mutes itself, before the marker comes.
  add(
    'preroll',
    1,
    0.25,
    TONE_HZ.map((freqHz) => ({ freqHz, peakFs: fs(-40) / 3 })),
  )
  add('opening', openingSpacingS(REVISION_COUNT - 1) + CHIRP.durationS, 0.2)
  add('silence', 6, 0)
  add('sweep_left', SWEEP.durationS, SWEEP.tailS)
  add('sweep_right', SWEEP.durationS, SWEEP.tailS)
  for (const freqHz of TONE_HZ) add('tone', 2, 0.1, [{ freqHz, peakFs: TONE_PEAK_FS }])
  add('quiet_tone', 3, 0.1, [{ freqHz: 997, peakFs: fs(-60) }])
  for (const freqHz of TONE_HZ) {
    for (const levelDbfs of STAIRCASE_DBFS) add('staircase', STAIRCASE_STEP_S, 0, [{ freqHz, peakFs: fs(levelDbfs) }])
    atS += 0.1
  }
  // SMPTE RP 120: 60 Hz and 7 kHz, 4:1. IEC 60268-3: difference tones, 19 and 20 kHz, equal.
  add('two_tone', 1, 0.1, [
    { freqHz: 60, peakFs: 0.56 },
    { freqHz: 7000, peakFs: 0.14 },
  ])
  add('two_tone', 1, 0.3, [
    { freqHz: 19_000, peakFs: 0.35 },
    { freqHz: 20_000, peakFs: 0.35 },
  ])
  add('closing', CLOSING_SPACING_S + CHIRP.durationS, 0.5)
  return sections
}

export const sectionStartS = (kind: 'opening' | 'silence' | 'sweep_left' | 'sweep_right' | 'closing'): number =>
  sectionsOf().find((section) => section.kind === kind)!.startS

/** Length of the whole track. */
export function trackDurationS(): number {
  const last = sectionsOf().at(-1)!
  return last.startS + last.durationS + 0.5
}

/** Phase (radians) of an exponential sweep t seconds after its start: 2 pi f1 L exp(t / L). */
export const sweepPhaseRad = (tS: number, freqHzStart: number, rateS: number): number =>
  2 * Math.PI * freqHzStart * rateS * Math.exp(tS / rateS)

/** The measuring sweep t seconds after its start, taper included; 0 outside. Peak 1. */
export function sweepAt(tS: number): number {
  if (tS < 0 || tS >= SWEEP.durationS) return 0
  const leftS = SWEEP.durationS - tS
  const taper = leftS < SWEEP.fadeOutS ? 0.5 - 0.5 * Math.cos((Math.PI * leftS) / SWEEP.fadeOutS) : 1
  return taper * Math.sin(sweepPhaseRad(tS, SWEEP.freqHzStart, SWEEP.rateS))
}

/** The marker chirp t seconds after its start as cosine and sine parts (the sine part is played); 0 outside. Peak 1. */
export function chirpAt(tS: number): { readonly inPhase: number; readonly quadrature: number } {
  if (tS < 0 || tS >= CHIRP.durationS) return { inPhase: 0, quadrature: 0 }
  const rateS = CHIRP.durationS / Math.log(CHIRP.freqHzEnd / CHIRP.freqHzStart)
  const phaseRad = sweepPhaseRad(tS, CHIRP.freqHzStart, rateS)
  const edgeS = Math.min(tS / 0.004, (CHIRP.durationS - tS) / 0.002, 1)
  const taper = 0.5 - 0.5 * Math.cos(Math.PI * edgeS)
  return { inPhase: taper * Math.sin(phaseRad), quadrature: -taper * Math.cos(phaseRad) }
}
