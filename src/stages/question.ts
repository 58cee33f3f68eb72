/** A question to a person: why it is asked, what is usual, and which answers will do. */

/** Thrown by a question's check for an answer that won't do: what is allowed, as a sentence. */
export class NotAllowed extends Error {}

export interface Choice {
  /** What the answer becomes. */
  readonly value: string
  readonly says: string
}

export interface Question {
  /** As an answers file names it. */
  readonly name: string
  readonly asks: string
  readonly why: string
  /** Numbered; an answer is a number of the list, or the value itself. */
  readonly choices?: readonly Choice[]
  /** Taken on Enter. */
  readonly usual: string
  /**
   * The answer as it is kept.
   * @throws NotAllowed
   */
  check(text: string): string
}

/** A check that takes one of the choices by its value. */
export const oneOf =
  (choices: readonly Choice[]) =>
  (text: string): string => {
    const found = choices.find(({ value }) => value.toLowerCase() === text.toLowerCase())
    if (found) return found.value
    throw new NotAllowed(
      choices.length === 1
        ? `Allowed: ${choices[0].value}.`
        : `Allowed: 1 to ${choices.length}, or one of ${choices.map(({ value }) => value).join(', ')}.`,
    )
  }

/** A check that takes a number in a range, both ends included. */
export const numberIn =
  (min: number, max: number, isWhole = false) =>
  (text: string): string => {
    // A comma is a decimal point where it is usual.
    const value = Number(text.replace(',', '.'))
    const isGood = text.trim() !== '' && value >= min && value <= max && (!isWhole || Number.isInteger(value))
    if (isGood) return String(value)
    throw new NotAllowed(`Allowed: a ${isWhole ? 'whole ' : ''}number from ${min} to ${max}.`)
  }
