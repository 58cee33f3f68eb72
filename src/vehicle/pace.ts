/**
 * How a long computation shares its thread: it breathes now and then, and looks whether it should stop.
 *
 * What lets other events through is in `breath.ts`.
 */
export interface Pace {
  readonly signal: AbortSignal
  /** Lets waiting events happen. */
  breathe(): Promise<void>
}

/** Runs through without a stop. */
export const STEADY: Pace = { signal: new AbortController().signal, breathe: async () => {} }
