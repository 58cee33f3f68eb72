/**
 * The person who is led through a stage: things to do, values to give, and the way back.
 *
 * Each thing has a name by which an answers file may answer it: what is done by hand then counts as done.
 */
import type { Person } from './hook-up.js'
import type { Question } from './question.js'

/** back: to the step before. skip: this one is left out. */
export type Reply = 'done' | 'back' | 'skip'

export interface Todo {
  /** As an answers file names it: pins.C1-4. */
  readonly name: string
  /** What to do, as an instruction. */
  readonly says: string
  readonly canSkip: boolean
}

export interface Guide extends Person {
  /** Something to do, then Enter. Where nobody answers it counts as done. */
  todo(todo: Todo, signal: AbortSignal): Promise<Reply>
  /** A value that a person knows or reads; where nobody answers, what is usual. null: back to the step before. */
  value(question: Question, signal: AbortSignal): Promise<string | null>
}
