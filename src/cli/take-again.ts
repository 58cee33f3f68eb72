/**
 * What becomes of a take whose capture had a fault: a person decides. Without one it is taken again, up to twice, where it
 * was not whole; what clips, is silent or runs at another rate would do so again, is kept and said in the result.
 */
import type { Person } from '../stages/hook-up.js'
import { takeWords } from '../stages/planned-takes.js'
import type { TaintedTake } from '../stages/run-memory.js'

/** The first one, and twice again. */
const ATTEMPT_COUNT_MAX = 3

export async function isToBeTakenAgain(
  { take, says, attemptCount, isBrokenOff, isWhole }: TaintedTake,
  person: Person,
  signal: AbortSignal,
): Promise<boolean> {
  signal.throwIfAborted()
  const what = `The take of ${takeWords(take)} ${isWhole ? 'is doubtful' : 'is not whole'}: ${says.join('; ')}.`
  if (person.isAttended) {
    const [letter, enough] = isBrokenOff
      ? ['s', 'stop here']
      : ['k', attemptCount > 1 ? 'keep the best' : 'keep it as it is']
    const again = isWhole ? 'Mend it and press Enter to take it again' : 'Press Enter to take it again'
    const question = `${what}\n${again}; or type ${letter} and Enter to ${enough}.`
    return (await person.choose(question, ['', letter], signal)) === ''
  }
  if (isWhole) {
    person.say(`${what} It is kept, and the result says so.`)
    return false
  }
  if (attemptCount < ATTEMPT_COUNT_MAX) {
    person.say(`${what} It is taken again, ${attemptCount + 1} of ${ATTEMPT_COUNT_MAX}.`)
    return true
  }
  person.say(isBrokenOff ? what : `${what} The best of ${attemptCount} is kept.`)
  return false
}
