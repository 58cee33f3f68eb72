/** linetrue verify JOB with a bench: begins a run or goes on with one, plays, and leaves result and report. */
import { dirname } from 'node:path'
import { checkRoom } from '../archive/disk-room.js'
import { liveBench } from '../instruments/bench.js'
import type { Rig } from '../rig/rig.js'
import type { Bench } from '../rig/roles.js'
import { benchTakes, captureBitsOf } from '../stages/bench-takes.js'
import { plannedTakes } from '../stages/planned-takes.js'
import { type Take, verify } from '../stages/verify.js'
import { trackDurationS } from '../stimulus/layout.js'
import { simulatedBench } from '../vehicle/bench.js'
import { BEFORE_SOUND } from '../verdict/cautions.js'
import type { Check, Finding } from '../verdict/parts.js'
import type { Loaded } from './files.js'
import { hashOf, openRun } from './resume.js'
import { faultsOf, readFaults } from './rig-open.js'
import { partsIn, RunStore } from './run-store.js'
import { isToBeTakenAgain } from './take-again.js'
import { calibrated, end, type Given, notesOf, programOf, requestOf } from './verify-common.js'

export async function verifyOnBench(given: Given, signal: AbortSignal): Promise<number> {
  const { options, job, rig, calibration, patches, now, screen } = given
  const faultsText = await readFaults(rig)
  const plan = plannedTakes(job.value, patches)
  const run = await openRun({
    parent: dirname(job.path),
    out: options.out,
    isFresh: options.fresh === true,
    of: {
      job: hashOf(job.text),
      rig: hashOf(rig.text),
      calibration: calibration && hashOf(calibration.text),
      faults: faultsText === null ? null : hashOf(faultsText),
    },
    program: programOf(options),
    patches,
    plan,
    jobText: job.text,
    rigText: rig.text,
    now,
  })
  const { journal, startedAt, left } = run
  let bench: Bench | null = null
  try {
    for (const line of run.says) screen.say(line)
    const { sampleRateHz, bits } = rig.value.capture
    const need = { takeCount: left.length, inputCount: rig.value.inputs.length, sampleRateHz, bits }
    await checkRoom(journal.folder, { ...need, trackS: trackDurationS() }, await partsIn(journal.folder))
    const known = calibrated(given, startedAt)
    const rigNotes = [...notesOf(given, known, journal.state.notes)]
    for (const note of rigNotes) screen.say(note)
    const store = new RunStore(journal, captureBitsOf(rig.value), (tainted, stop) =>
      isToBeTakenAgain(tainted, screen.person(options.isAttended), stop),
    )
    const rigChecks: Check[] = []
    const rigFindings: Finding[] = []
    const addWord = ({ check, findings }: { check: Check; findings: readonly Finding[] }): void => {
      rigChecks.push(check)
      rigFindings.push(...findings)
    }
    if (journal.state.meter) addWord(journal.state.meter)
    let takes: AsyncIterable<Take>
    if (left.length === 0) takes = madeBefore(store, plan)
    else {
      bench = await openBench(given, { ...rig, value: known.rig }, faultsText, signal)
      const { capture, player, isSimulated } = bench
      await journal.note({ instruments: { capture: capture.where, player: player.where, isSimulated } })
      takes = benchTakes(
        bench,
        job.value,
        known.rig,
        patches,
        store,
        {
          // The model has no hands: what its leads hear is noted.
          person: screen.person(options.isAttended && !isSimulated),
          onMeter: async (word) => {
            await journal.note({ meter: { says: word.says, check: word.check, findings: [...word.findings] } })
            addWord(word)
          },
          onNote: async (note) => {
            await journal.note({ notes: [...journal.state.notes, note] })
            rigNotes.push(note)
          },
        },
        screen.progress,
        signal,
        store,
      )
    }
    const { instruments } = journal.state
    const result = await verify(
      {
        ...requestOf(given, known.rig, startedAt, rigNotes),
        isSimulated: instruments?.isSimulated ?? false,
        isAhead: left.length > 0 && instruments?.isSimulated === false,
        says: {
          capture: instruments?.capture ?? 'not known',
          player: instruments?.player ?? 'not known',
          meter: () => journal.state.meter?.says ?? null,
        },
        rigChecks,
        rigFindings,
      },
      takes,
      screen.progress,
      signal,
    )
    await journal.release()
    return await end(journal.folder, result, screen)
  } finally {
    screen.clear()
    await bench?.close()
    await run.close()
  }
}

/** All takes of a run that only lacks its result. */
async function* madeBefore(store: RunStore, plan: ReturnType<typeof plannedTakes>): AsyncGenerator<Take> {
  for (const planned of plan) {
    const take = await store.earlier(planned)
    if (take === null) throw new RangeError(`madeBefore: no take ${planned.name}`)
    yield take
  }
}

async function openBench(
  { options, job, patches, screen }: Given,
  rig: Loaded<Rig>,
  faultsText: string | null,
  signal: AbortSignal,
): Promise<Bench> {
  if (rig.value.capture.driver !== 'simulated') {
    screen.say(`Caution: ${BEFORE_SOUND}`)
    const ask = (prompt: string, stop: AbortSignal): Promise<void> => screen.ask(prompt, options.isAttended, stop)
    return liveBench(rig.value, patches, ask, signal, job.value.volumeStep, (says) => screen.say(says))
  }
  return simulatedBench(job.value, rig.value, faultsOf(rig, faultsText), patches)
}
