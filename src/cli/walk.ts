/** A job on a bench: its stages one after the other in one run, each kept when it ends, then one result of them all. */
import { dirname } from 'node:path'
import { checkRoom } from '../archive/disk-room.js'
import type { RunJournal } from '../archive/run-journal.js'
import { liveBench } from '../instruments/bench.js'
import type { StageName } from '../job/job.js'
import { settingsToAsk } from '../rig/head-unit-settings.js'
import type { Rig } from '../rig/rig.js'
import type { Bench } from '../rig/roles.js'
import { captureBitsOf } from '../stages/bench-takes.js'
import { withoutOutputs, withStages } from '../stages/frame.js'
import { plannedTakes } from '../stages/planned-takes.js'
import { oneOf } from '../stages/question.js'
import type { Stage } from '../stages/stage.js'
import { trackDurationS } from '../stimulus/layout.js'
import { planPatches } from '../stimulus/plan.js'
import { StopError } from '../units/stop.js'
import { simulatedBench } from '../vehicle/bench.js'
import { BEFORE_SOUND } from '../verdict/cautions.js'
import type { Verdict } from '../verdict/parts.js'
import type { StageResult } from '../verdict/stage-result.js'
import { readAnswers } from './answers.js'
import { loadCalibration } from './calibration.js'
import { type Loaded, loadJob, loadRig, shown } from './files.js'
import { type FileGuide, guideOf } from './guide.js'
import { hashOf, openRun } from './resume.js'
import { faultsOf, readFaults } from './rig-open.js'
import { partsIn, RunStore } from './run-store.js'
import { Screen } from './screen.js'
import { stageMemory } from './stage-memory.js'
import { checkStageNeeds } from './stage-needs.js'
import { isToBeTakenAgain } from './take-again.js'
import { verifyOnBench } from './verify-bench.js'
import { calibrated, end, type Given, notesOf, programOf, requestOf, type VerifyOptions } from './verify-common.js'

type OwnStage = Exclude<StageName, 'outputs'>

/** Loaded when it is its turn. */
const STAGE_OF: Readonly<Record<OwnStage, () => Promise<Stage>>> = {
  pins: async () => (await import('../stages/pins.js')).pinsStage,
  flat: async () => (await import('../stages/flat.js')).flatStage,
  gains: async () => (await import('../stages/gains.js')).gainsStage,
  chimes: async () => (await import('../stages/chimes.js')).chimesStage,
  engine: async () => (await import('../stages/engine.js')).engineStage,
  standby: async () => (await import('../stages/standby.js')).standbyStage,
}

/** Stages that play something, or listen to what plays: for them the head unit has to be set. */
const SOUNDING: readonly StageName[] = ['outputs', 'flat', 'gains', 'chimes', 'engine']

export async function walkOnBench(given: Given, stages: readonly StageName[], signal: AbortSignal): Promise<number> {
  const { options, job, rig, calibration, patches, now, screen } = given
  const answers = options.answers === undefined ? new Map<string, string>() : await readAnswers(options.answers)
  const answersWhere = shown(options.answers ?? 'no answers file')
  const faultsText = await readFaults(rig)
  const plan = stages.includes('outputs') ? plannedTakes(job.value, patches) : []
  const run = await openRun({
    parent: dirname(job.path),
    out: options.out,
    isFresh: options.fresh === true,
    of: {
      job: hashOf(job.text),
      rig: hashOf(rig.text),
      calibration: calibration && hashOf(calibration.text),
      faults: faultsText === null ? null : hashOf(faultsText),
      stages: stages.join(),
    },
    program: programOf(options),
    patches,
    plan,
    jobText: job.text,
    rigText: rig.text,
    calibrationText: calibration?.text ?? null,
    vin: job.value.vehicle.vin,
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
    const guide = guideOf(screen, options.isAttended, answers, answersWhere)
    const isMade = (stage: StageName): boolean =>
      stage === 'outputs' ? left.length === 0 : journal.stage(stage).result !== null
    const toMake = stages.filter((stage) => !isMade(stage))
    if (toMake.length > 0) bench = await openBench(given, { ...rig, value: known.rig }, faultsText, signal)
    let whyLeft: string | null = null
    let result = null
    for (const stage of stages) {
      if (stages[stages.indexOf(stage) - 1] === 'pins') whyLeft = await whyNotOn(journal, stages, guide, signal)
      if (whyLeft !== null) break
      if (stages.length > 1 && toMake.includes(stage)) {
        screen.say(`Stage ${stages.indexOf(stage) + 1} of ${stages.length}: ${stage}.`)
      }
      if (bench && toMake.includes(stage) && SOUNDING.includes(stage)) {
        await setForMeasuring(bench, journal, job.value.volumeStep, options.isAttended, signal)
      }
      if (stage === 'outputs') {
        result = await verifyOnBench({ given, known: known.rig, plan, run, store, rigNotes, bench, guide }, signal)
      } else if (!isMade(stage)) {
        const memory = stageMemory(stage, journal, store, bench!, known.rig, signal)
        const context = { job: job.value, rig: known.rig, patches, bench: bench!, guide, memory, stages }
        const made = await (await STAGE_OF[stage]())({
          ...context,
          now: () => new Date(),
          onProgress: screen.progress,
          signal,
        })
        await journal.noteStage({ ...journal.stage(stage), result: made })
      }
    }
    const { instruments, settings, meter } = journal.state
    const facts = {
      ...requestOf(given, known.rig, startedAt, rigNotes, journal.state.retestOf ?? null),
      isSimulated: instruments?.isSimulated ?? bench?.isSimulated ?? false,
      says: {
        capture: instruments?.capture ?? 'not used',
        player: instruments?.player ?? 'not used',
        meter: () => meter?.says ?? bench?.meter?.where ?? null,
      },
    }
    const own = stages.flatMap((stage): StageResult[] => {
      const made = stage === 'outputs' ? null : journal.stage(stage).result
      return made ? [made] : []
    })
    const strays = guide.unused()
    if (strays.length > 0) screen.say(`Nothing asked for these answers: ${strays.join(', ')} (${answersWhere}).`)
    await journal.release()
    return await end(journal.folder, withStages(result ?? withoutOutputs(facts), settings, own, whyLeft), screen)
  } finally {
    screen.clear()
    await bench?.close()
    await run.close()
  }
}

const NO_OR_YES = [
  { value: 'no', says: 'no, stop here' },
  { value: 'yes', says: 'yes, go on' },
]

/** Power and sound come only after the pins are right; a doubt is a person's to settle. Null where nothing is against it. */
async function whyNotOn(
  journal: RunJournal,
  stages: readonly StageName[],
  guide: FileGuide,
  signal: AbortSignal,
): Promise<string | null> {
  const pins: Verdict | undefined = journal.stage('pins').result?.verdict
  if (pins === undefined || pins === 'pass') return null
  const rest = stages.filter((other) => other !== 'pins').join(', ')
  const why = `Not made: ${rest}. The pins have to be right before anything is powered (they ${pins === 'fail' ? 'fail' : 'are unsure'}).`
  if (pins === 'fail') return why
  const answer = await guide.value(
    {
      name: 'pins.go_on',
      asks: 'Some pins are unsure. Go on to what needs power?',
      why: 'A wrong pin can destroy the interface or the vehicle; say yes only if you know why it could not be told.',
      choices: NO_OR_YES,
      usual: 'no',
      check: oneOf(NO_OR_YES),
    },
    signal,
  )
  return answer === 'yes' ? null : why
}

/** Asked once for each command; that it was is part of the result. */
async function setForMeasuring(
  bench: Bench,
  journal: RunJournal,
  volumeStep: number | null,
  isAttended: boolean,
  signal: AbortSignal,
): Promise<void> {
  await bench.set('reference', signal)
  if (journal.state.settings.length > 0) return
  const answer = bench.isSimulated ? 'set by the model' : isAttended ? 'confirmed' : 'taken as done'
  await journal.note({ settings: settingsToAsk(volumeStep).map((wanted) => ({ ...wanted, answer })) })
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

/** linetrue JOB, and linetrue STAGE JOB. @param only left out: the stages of the job file */
export async function walkCommand(
  options: VerifyOptions,
  only: StageName | null,
  signal: AbortSignal,
): Promise<number> {
  const job = await loadJob(options.jobPath)
  const rig = await loadRig(options.rig, job)
  if (rig.value.capture.driver === 'recording') {
    throw new StopError(
      'this rig is for recordings made elsewhere, and a stage needs a bench',
      shown(rig.path),
      'Name another rig with --rig; recordings are for linetrue verify.',
    )
  }
  const patches = planPatches(job.value, rig.value)
  const calibration = await loadCalibration(rig)
  const given = { options, job, rig, calibration, patches, now: new Date(), screen: new Screen() }
  const stages = only === null ? job.value.stages : [only]
  checkStageNeeds(stages, job.value, shown(job.path), rig.value, shown(rig.path))
  return walkOnBench(given, stages, signal)
}
