/**
 * Asks a person a few questions, one after the other: each says why it is asked and what is usual, "<" steps back, and
 * answers may come from a file instead.
 */
import { wrapped } from '../report/text.js'
import { NotAllowed, type Question } from '../stages/question.js'
import { StopError } from '../units/stop.js'

/** One place in the row of questions; null where it isn't asked after the answers so far. */
export type Step = (answers: Answers) => Question | null
export type Answers = ReadonlyMap<string, string>

export interface Asking {
  /** Answers from a file, by name. */
  readonly given: Answers
  /** The file, for messages. */
  readonly givenWhere: string
  /** Shows the text and waits for a line; null: nobody is there, what is usual counts. */
  readonly ask: ((text: string, signal: AbortSignal) => Promise<string>) | null
  readonly columnCount: number
  /** Shows a line that needs no answer. */
  readonly say: (line: string) => void
}

export const BACK = '<'

/** @throws StopError for an answer in the file that won't do, or that belongs to no question */
export async function askAll(
  steps: readonly Step[],
  { given, givenWhere, ask, say, columnCount }: Asking,
  signal: AbortSignal,
): Promise<Answers> {
  const answers = new Map<string, string>()
  const asked: number[] = []
  const used = new Set<string>()
  for (let at = 0; at < steps.length; ) {
    signal.throwIfAborted()
    const question = steps[at](answers)
    if (question === null) {
      at++
      continue
    }
    const fromFile = given.get(question.name)
    if (fromFile !== undefined || ask === null) {
      used.add(question.name)
      const answer = fromFile === undefined ? question.usual : answerIn(question, fromFile, givenWhere)
      answers.set(question.name, answer)
      say(`${question.name}: ${answer}${fromFile === undefined ? ' (usual)' : ''}`)
      at++
      continue
    }
    const text = (await ask(shownQuestion(question, asked.length > 0, columnCount), signal)).trim()
    if (text === BACK) {
      const before = asked.pop()
      if (before === undefined) say('This is the first question.')
      else {
        at = before
        forget(answers, steps, at)
      }
      continue
    }
    try {
      answers.set(question.name, answerOf(question, text === '' ? question.usual : text))
      asked.push(at)
      at++
    } catch (error) {
      if (!(error instanceof NotAllowed)) throw error
      say(error.message)
    }
  }
  const stray = [...given.keys()].find((name) => !used.has(name))
  if (stray !== undefined) {
    const names = [...answers.keys()].join(', ')
    throw new StopError(`no question is named "${stray}" here`, givenWhere, `Asked are: ${names}.`)
  }
  return answers
}

/** Answers from a place on are asked anew: a later question may depend on an earlier one. */
function forget(answers: Map<string, string>, steps: readonly Step[], from: number): void {
  const kept = new Map<string, string>()
  for (const step of steps.slice(0, from)) {
    const name = step(kept)?.name
    const answer = name === undefined ? undefined : answers.get(name)
    if (name !== undefined && answer !== undefined) kept.set(name, answer)
  }
  answers.clear()
  for (const [name, answer] of kept) answers.set(name, answer)
}

export function shownQuestion(
  { asks, why, choices = [], usual }: Question,
  canStepBack: boolean,
  columnCount: number,
): string {
  const hanging = (first: string, text: string): string[] =>
    wrapped(text, Math.max(30, columnCount - first.length - 1)).map(
      (line, i) => (i === 0 ? first : ' '.repeat(first.length)) + line,
    )
  const usualPlace = choices.findIndex(({ value }) => value === usual)
  const shown = usualPlace < 0 ? usual : String(usualPlace + 1)
  return [
    '',
    ...hanging('', asks),
    ...hanging('  ', why),
    ...choices.flatMap(({ says }, i) => hanging(`  ${String(i + 1).padStart(2)}  `, says)),
    `[Enter: ${shown}${canStepBack ? `, ${BACK} steps back` : ''}] `,
  ].join('\n')
}

export function answerOf(question: Question, text: string): string {
  const choices = question.choices ?? []
  const byNumber = /^\d+$/.test(text) ? choices[Number(text) - 1] : undefined
  return question.check(byNumber?.value ?? text)
}

export function answerIn(question: Question, text: string, where: string): string {
  try {
    return answerOf(question, text)
  } catch (error) {
    if (!(error instanceof NotAllowed)) throw error
    throw new StopError(`${question.name}: "${text}" won't do`, where, error.message, 'input', { cause: error })
  }
}
