/** Which of the files that a person writes a text is: two of them are easily given in each other's place. */
import { StopError } from '../units/stop.js'

/** Fields at the top that one kind of file has and the other has not. */
const MARKS = { job: /^(?:vehicle|extra_takes|sums|limits):/m, rig: /^(?:capture|player|inputs|meter):/m } as const
export type FileKind = keyof typeof MARKS

/**
 * @param wanted the kind that is to be read
 * @throws StopError where the text is of the other kind, before each of its fields is found unknown
 */
export function checkKind(text: string, wanted: FileKind, fileName: string): void {
  const other = wanted === 'job' ? 'rig' : 'job'
  if (MARKS[wanted].test(text) || !MARKS[other].test(text)) return
  const places = {
    job: 'The job comes first: linetrue verify JOB --rig RIG.',
    rig: 'Name a rig file; ready ones are in rigs/.',
  }
  throw new StopError(`this is a ${other} file, a ${wanted} file is wanted`, fileName, places[wanted])
}
