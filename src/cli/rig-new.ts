/** linetrue rig new FILE: makes a rig file by a few questions, or from a file of answers. */
import { parseRig } from '../rig/parse.js'
import { rigFileText } from '../rig/rig-file-text.js'
import { StopError } from '../units/stop.js'
import { EXIT } from './exit.js'
import { shown } from './files.js'
import { findAll } from './found.js'
import { type Answering, answeringBy, askedFor, checkNew, writeNew } from './new-file.js'
import { rigAnswersOf } from './rig-answers.js'
import { type Found, RIG_ANSWERS, rigSteps } from './rig-questions.js'

export interface NewOptions {
  readonly path: string
  readonly answers?: string
}

export async function rigNewCommand(
  { path, answers: answersPath }: NewOptions,
  signal: AbortSignal,
  find: (signal: AbortSignal) => Promise<Found> = findAll,
): Promise<number> {
  await checkNew(path)
  const answering = await answeringBy(answersPath, '{ capture: simulated }')
  checkNames(answering)
  if (answering.isAttended) process.stderr.write('Looking at what is plugged in …\n')
  const answers = await askedFor(rigSteps(await find(signal)), answering, signal)
  const text = rigFileText(rigAnswersOf(answers))
  // Whatever the questions let through that the file may not hold is said as for any rig file.
  parseRig(text, shown(path))
  await writeNew(path, text)
  process.stdout.write(`Written ${shown(path)}\nNext: linetrue rig check ${shown(path)}\n`)
  return EXIT.pass
}

/** A name that belongs to no question is said before the first one is asked. */
function checkNames({ given, givenWhere }: Answering): void {
  const stray = [...given.keys()].find((name) => !RIG_ANSWERS.includes(name))
  if (stray === undefined) return
  throw new StopError(`no question is named "${stray}" here`, givenWhere, `Asked are: ${RIG_ANSWERS.join(', ')}.`)
}
