/** Checks of answers that are a line of text. */
import { NotAllowed } from '../stages/question.js'

/**
 * @param taken answers of other questions that must not be given again
 * @returns a check that takes one line without control characters
 */
export const oneLineOf =
  (characterCountMax: number, taken: readonly string[] = []) =>
  (text: string): string => {
    const line = text.trim()
    if (line === '' || line.length > characterCountMax || /[\p{Cc}\p{Zl}\p{Zp}]/u.test(line)) {
      throw new NotAllowed(`Allowed: one line of up to ${characterCountMax} characters.`)
    }
    if (taken.some((other) => other.toLowerCase() === line.toLowerCase())) {
      throw new NotAllowed(`"${line}" is given already: each needs one of its own.`)
    }
    return line
  }
