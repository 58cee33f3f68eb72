/** What a run tells while it goes on; the cli turns it into words on a screen. */
export interface Progress {
  /** Short: "playing and capturing", "measuring". */
  readonly step: string
  /** Which patch or file; may be empty. */
  readonly detail: string
  /** How far the step is and how long it takes, where that is known. */
  readonly doneS: number | null
  readonly totalS: number | null
}

export type OnProgress = (progress: Progress) => void
