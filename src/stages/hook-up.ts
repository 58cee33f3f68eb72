/**
 * Moving leads from one hook-up to the next: shown as a table, gone on from by Enter or by itself, and checked by the quiet
 * probe before a take is spent.
 *
 * A wrong lead never stops a run: an output may itself be wrong. A person moves the lead or confirms; a run that nobody
 * attends goes on and says so in its notes.
 */
import type { Job } from '../job/job.js'
import { isAlike, type LeadVerdict } from '../measure/lead-probe-fit.js'
import { hookUpTable, leadsWords } from '../report/hook-up-words.js'
import { inputsInWords } from '../rig/input-words.js'
import { isStartedByHand, type PatchSpec, type Rig } from '../rig/rig.js'
import type { Bench } from '../rig/roles.js'
import { type LeadsOn, leadSteps, leadsAfter } from '../stimulus/hook-up-plan.js'
import { mappedVrms } from '../stimulus/lead-probe.js'
import { dbFromRatio } from '../units/level.js'
import { StopError } from '../units/stop.js'
import type { OnProgress } from './progress.js'
import { softStart } from './soft-start.js'

/** Who sits at the bench. */
export interface Person {
  /** false: nobody answers; all that is asked for counts as done. */
  readonly isAttended: boolean
  /** A line that stays. */
  say(text: string): void
  /** Asks for one of some letters and Enter; an empty answer is ''. */
  choose(prompt: string, letters: readonly string[], signal: AbortSignal): Promise<string>
}

/** Nobody answers. */
export const NOBODY: Person = { isAttended: false, say: () => {}, choose: async () => '' }

/** So many probes in a row must agree before a run goes on by itself. */
const AGREE_IN_A_ROW = 3

/**
 * Has the leads of a hook-up connected.
 *
 * While a person moves leads the quiet probe repeats; when every input agrees three times in a row the run goes on by itself.
 *
 * @param before what is on each input from the hook-ups before; empty at first
 * @returns what is on each input now
 */
export async function connectLeads(
  bench: Bench,
  job: Job,
  rig: Rig,
  patch: PatchSpec,
  before: LeadsOn,
  person: Person,
  signal: AbortSignal,
): Promise<LeadsOn> {
  const steps = leadSteps(patch.leads, before)
  const isWatched = person.isAttended && !bench.isSimulated && !isStartedByHand(rig.player)
  const prompt = [
    `Connect the leads of ${patch.name}:`,
    hookUpTable(steps, job.outputs),
    'Amplifiers stay unplugged or their gains down.',
    ...(isWatched ? ['A quiet probe repeats meanwhile; when all inputs are right the run goes on by itself.'] : []),
  ].join('\n')
  if (!isWatched) await bench.connect(patch.name, signal, prompt)
  else {
    const request = { bench, job, rig, patch, before }
    await untilAskedOrHeard(request, prompt, person, signal)
  }
  return leadsAfter(patch.leads, before)
}

interface WatchRequest {
  readonly bench: Bench
  readonly job: Job
  readonly rig: Rig
  readonly patch: PatchSpec
  readonly before: LeadsOn
}

/** Whichever comes first: the person's word, or three probes that agree. */
async function untilAskedOrHeard(
  request: WatchRequest,
  prompt: string,
  person: Person,
  signal: AbortSignal,
): Promise<void> {
  const [heard, answered] = [new AbortController(), new AbortController()]
  const watching = watch(request, person, AbortSignal.any([signal, answered.signal])).then(
    (isRight) => {
      if (isRight) heard.abort()
    },
    (error) => {
      if (!signal.aborted && !answered.signal.aborted) person.say(`The probe has stopped: ${whyOf(error)}`)
    },
  )
  // It is awaited below; until then nobody minds.
  watching.catch(() => {})
  try {
    await request.bench.connect(request.patch.name, AbortSignal.any([signal, heard.signal]), prompt)
  } catch (error) {
    if (signal.aborted || !heard.signal.aborted) throw error
    person.say(`All inputs hear what ${request.patch.name} should give, ${AGREE_IN_A_ROW} times in a row: going on.`)
  } finally {
    // The sound ends at once, and the capture is free again before anything else starts it.
    answered.abort()
    await watching
  }
}

const whyOf = (error: unknown): string => {
  if (error instanceof StopError) return `${error.what} (${error.where}).`
  throw error
}

/**
 * Repeats the probe until all inputs agree three times in a row.
 *
 * An input whose earlier output the map has alike with the new one would agree before its lead is moved: it counts only
 * once it was heard not to agree, as while the lead is off.
 */
async function watch(
  { bench, job, rig, patch, before }: WatchRequest,
  person: Person,
  signal: AbortSignal,
): Promise<boolean> {
  const levelsOf = (number: number): number[] =>
    mappedVrms(job.outputs.find((spec) => spec.number === number)!).map(dbFromRatio)
  const unmoved = new Set(
    patch.leads.flatMap(({ inputNumber, outputNumber }) => {
      const earlier = before.get(inputNumber)
      if (earlier === undefined || earlier === outputNumber) return []
      return isAlike(levelsOf(earlier), levelsOf(outputNumber)) ? [inputNumber] : []
    }),
  )
  let said = ''
  for (let inARow = 0; inARow < AGREE_IN_A_ROW; ) {
    const verdicts = await softStart(bench, job, rig, patch, () => {}, signal)
    const off = verdicts.filter(({ kind }) => kind !== 'agrees').map(({ inputNumber }) => inputNumber)
    for (const inputNumber of off) unmoved.delete(inputNumber)
    inARow = off.length === 0 && unmoved.size === 0 ? inARow + 1 : 0
    const right = verdicts.map(({ inputNumber }) => inputNumber).filter((number) => !off.includes(number))
    const text = right.length === 0 ? '' : `${inputsInWords(right)} right${off.length === 0 ? '' : ', others not yet'}`
    if (text !== said && text !== '') person.say(text)
    said = text
  }
  return true
}

/**
 * The soft start of a hook-up's first take, and a word with the person where a lead looks wrong.
 *
 * @returns notes for the result: leads that were not as expected and were left so
 * @throws StopError from the soft start, capture or player
 */
export async function checkLeads(
  bench: Bench,
  job: Job,
  rig: Rig,
  patch: PatchSpec,
  person: Person,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<readonly string[]> {
  for (;;) {
    const verdicts = await softStart(bench, job, rig, patch, onProgress, signal)
    const lines = leadsWords(verdicts, job.outputs)
    for (const line of lines) person.say(`${patch.name}: ${line}`)
    if (!verdicts.some(isToBeSettled)) return lines.map((line) => noteOf(patch, line, 'quiet probe'))
    if (!person.isAttended) return lines.map((line) => noteOf(patch, line, 'gone on, nobody attends'))
    const answer = await person.choose(
      'Move what is wrong and press Enter to probe again; or type c and Enter to go on as it is.',
      ['', 'c'],
      signal,
    )
    if (answer === 'c') return lines.map((line) => noteOf(patch, line, 'confirmed at the bench'))
    // The model's leads move when they are asked for.
    if (bench.isSimulated) await bench.connect(patch.name, signal)
  }
}

const isToBeSettled = ({ kind }: LeadVerdict): boolean => kind === 'other' || kind === 'silent'

const noteOf = (patch: PatchSpec, line: string, how: string): string =>
  `${patch.name}, ${line.replace(': move the lead or confirm', '')} (${how})`
