/** The person at the terminal, or an answers file in their place, led through the stages of a job. */
import type { Guide } from '../stages/guide.js'
import type { Question } from '../stages/question.js'
import { NotAllowed } from '../stages/question.js'
import { StopError } from '../units/stop.js'
import { type Answers, answerIn, answerOf, BACK, shownQuestion } from './questions.js'
import type { Screen } from './screen.js'

const SKIP = 's'

export interface FileGuide extends Guide {
  /** Names in the answers file that nothing has asked for. */
  unused(): readonly string[]
}

/**
 * @param given answers from a file, by name: of something to do "done" or "skip", of a question its answer
 * @param givenWhere the file, for messages
 */
export function guideOf(screen: Screen, isAttended: boolean, given: Answers, givenWhere: string): FileGuide {
  const used = new Set<string>()
  const inFile = (name: string): string | undefined => {
    const answer = given.get(name)
    if (answer !== undefined) used.add(name)
    return answer
  }
  const ask = async (question: Question, signal: AbortSignal): Promise<string | null> => {
    for (;;) {
      const typed = await screen.typed(shownQuestion(question, true, screen.columnCount), signal)
      if (typed === BACK) return null
      try {
        return answerOf(question, typed === '' ? question.usual : typed)
      } catch (error) {
        if (!(error instanceof NotAllowed)) throw error
        screen.say(error.message)
      }
    }
  }
  return {
    ...screen.person(isAttended),
    todo: async ({ name, says, canSkip }, signal) => {
      signal.throwIfAborted()
      const answer = inFile(name)
      if (answer !== undefined) {
        if (answer === 'done' || (answer === 'skip' && canSkip)) {
          screen.say(`${says} (${answer}, by the answers file)`)
          return answer
        }
        const remedy = `Allowed: done${canSkip ? ' or skip' : ''}.`
        throw new StopError(`${name}: "${answer}" won't do`, givenWhere, remedy)
      }
      if (!isAttended) {
        screen.say(`${says} (taken as done)`)
        return 'done'
      }
      const ways = [`Enter: done`, `${BACK} steps back`, ...(canSkip ? [`${SKIP} leaves it out`] : [])]
      for (;;) {
        const typed = (await screen.typed(`${says}\n[${ways.join(', ')}] `, signal)).toLowerCase()
        if (typed === '') return 'done'
        if (typed === BACK) return 'back'
        if (typed === SKIP && canSkip) return 'skip'
        screen.say(`"${typed}" is not one of the answers.`)
      }
    },
    value: async (question, signal) => {
      signal.throwIfAborted()
      const answer = inFile(question.name)
      if (answer === undefined && isAttended) return ask(question, signal)
      const taken = answer === undefined ? question.usual : answerIn(question, answer, givenWhere)
      screen.say(`${question.asks} ${taken}${answer === undefined ? ' (usual)' : ' (by the answers file)'}`)
      return taken
    },
    unused: () => [...given.keys()].filter((name) => !used.has(name)),
  }
}
