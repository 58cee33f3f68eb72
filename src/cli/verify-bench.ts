/** The stage `outputs` on a bench: plays, captures, measures, judges; takes of an earlier command count where they lie. */

import type { Rig } from '../rig/rig.js'
import type { Bench } from '../rig/roles.js'
import { benchTakes } from '../stages/bench-takes.js'
import type { Guide } from '../stages/guide.js'
import { NOBODY } from '../stages/hook-up.js'
import type { PlannedTake } from '../stages/planned-takes.js'
import { type Take, verify } from '../stages/verify.js'
import type { Check, Finding } from '../verdict/parts.js'
import type { Result } from '../verdict/result.js'
import type { OpenRun } from './resume.js'
import type { RunStore } from './run-store.js'
import { type Given, requestOf } from './verify-common.js'

export interface OutputsOnBench {
  readonly given: Given
  /** The rig with what its calibration says. */
  readonly known: Rig
  readonly plan: readonly PlannedTake[]
  readonly run: OpenRun
  readonly store: RunStore
  /** What the result has to say of rig and run; grows while takes are made. */
  readonly rigNotes: string[]
  /** null: all takes are made. */
  readonly bench: Bench | null
  readonly guide: Guide
}

export async function verifyOnBench(
  { given, known, plan, run, store, rigNotes, bench, guide }: OutputsOnBench,
  signal: AbortSignal,
): Promise<Result> {
  const { job, patches, screen } = given
  const { journal, startedAt, left } = run
  const rigChecks: Check[] = []
  const rigFindings: Finding[] = []
  const addWord = ({ check, findings }: { check: Check; findings: readonly Finding[] }): void => {
    rigChecks.push(check)
    rigFindings.push(...findings)
  }
  if (journal.state.meter) addWord(journal.state.meter)
  let takes: AsyncIterable<Take>
  if (left.length === 0 || bench === null) takes = madeBefore(store, plan)
  else {
    const { capture, player, isSimulated } = bench
    await journal.note({ instruments: { capture: capture.where, player: player.where, isSimulated } })
    takes = benchTakes(
      bench,
      job.value,
      known,
      patches,
      store,
      {
        // The model has no hands: what its leads hear is noted.
        person: isSimulated ? { ...NOBODY, say: guide.say } : guide,
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
  return verify(
    {
      ...requestOf(given, known, startedAt, rigNotes, journal.state.retestOf ?? null),
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
}

/** All takes of a run that only lacks its result. */
async function* madeBefore(store: RunStore, plan: readonly PlannedTake[]): AsyncGenerator<Take> {
  for (const planned of plan) {
    const take = await store.earlier(planned)
    if (take === null) throw new RangeError(`madeBefore: no take ${planned.name}`)
    yield take
  }
}
