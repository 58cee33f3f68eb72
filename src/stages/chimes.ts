/**
 * Chimes and warnings of the vehicle: each is made to sound by hand while the outputs are captured, found above the noise, and
 * held against the outputs that it should come from.
 *
 * With fewer inputs than outputs a chime is made to sound once for each hook-up that holds some of its outputs; outputs of
 * other hook-ups are not listened to, and the notes say so.
 */
import type { ChimeSpec } from '../job/chimes.js'
import { CHIME_METHODS, type FoundChime, findChime } from '../measure/chime.js'
import { dbFromRelative, estimate } from '../measure/estimate.js'
import { calibrationBudget } from '../measure/rig-reach.js'
import { fullScaleAtLead, type PatchSpec, type Rig } from '../rig/rig.js'
import type { LeadsOn } from '../stimulus/hook-up-plan.js'
import { dbFromRatio } from '../units/level.js'
import { StopError } from '../units/stop.js'
import { listed, plain } from '../units/words.js'
import { BEFORE_CHIMES, CAUTIONS } from '../verdict/cautions.js'
import { type ChimeHeard, type ChimeJudgement, judgeChime, quietFinding } from '../verdict/chime-checks.js'
import { worst } from '../verdict/decision.js'
import type { Finding } from '../verdict/parts.js'
import type { StagePlot, StageResult, StageTake } from '../verdict/stage-result.js'
import { captureChime, LEARN_S, SETTLE_S } from './capture-chime.js'
import { takeNameIn } from './capture-while.js'
import { connectLeads } from './hook-up.js'
import { inSteps, type StageContext, type Step } from './stage.js'

const HEAD = [
  'Chime',
  'Heard from',
  'Level (dBV)',
  'Length (s)',
  'Repeats (1/s)',
  'Frequency',
  'Loudest elsewhere (dB)',
]
/** A plot needs no more points than this of one chime. */
const POINTS_MAX = 120

/** One chime in one hook-up. */
interface Asked {
  readonly key: string
  readonly chime: ChimeSpec
  readonly patch: PatchSpec
  /** As tables and takes call it. */
  readonly name: string
}

/** What a step leaves. */
interface Listened {
  readonly take: StageTake
  readonly heard: ChimeHeard | null
  /** Level on the loudest output over time, from the beginning of the capture. */
  readonly curve: { readonly timeS: readonly number[]; readonly levelDbv: readonly number[] } | null
}

/** @throws StopError when the job names no chimes, or an instrument stops it */
export async function chimesStage(context: StageContext): Promise<StageResult> {
  const { job, guide, memory, now, signal } = context
  if (job.chimes.length === 0) {
    const remedy = "Add chimes: with a name and outputs for each, or leave chimes out of the job's stages."
    throw new StopError('the job names no chimes', `job "${job.name}"`, remedy, 'input')
  }
  const startedAt = now().toISOString()
  const asked = askedOf(context)
  guide.say(`Caution: ${BEFORE_CHIMES}`)
  guide.say('Pause the radio, and leave its volume where it is.')
  const connect = connector(context)
  const steps = asked.map((one): Step<Listened> => ({ key: one.key, run: () => listen(one, context, connect) }))
  const left = await inSteps(steps, memory, signal)
  const judged = asked.map((one, k) => {
    const step = left[k]
    const listened = one.patch.leads.map(({ outputNumber }) => outputNumber)
    return { one, step, judgement: step && judgeChime(one.chime, step.heard, listened, job) }
  })
  const made = judged.flatMap(({ judgement }) => (judgement ? [judgement] : []))
  const levels = judged.flatMap(({ one, judgement }) => {
    const levelDbv = judgement?.figures[0]?.value
    return typeof levelDbv === 'number' ? [{ patch: one.patch, spec: one.chime, levelDbv }] : []
  })
  const quietOf = ({ patch, chime }: Asked): Finding[] => {
    const here = levels.filter((one) => one.patch === patch)
    return here.filter(({ spec }) => spec === chime).flatMap((one) => quietFinding(one, here) ?? [])
  }
  const quiet = asked.flatMap(quietOf)
  return {
    stage: 'chimes',
    verdict: made.length === 0 ? 'unsure' : worst([...made, ...quiet].map(({ verdict }) => verdict)),
    summary: [summaryOf(judged), ...quiet.map(({ title }) => `${title}.`)].join(' '),
    startedAt,
    endedAt: now().toISOString(),
    figures: made.flatMap(({ figures }) => figures),
    checks: made.flatMap(({ checks }) => checks),
    findings: [...made.flatMap(({ findings }) => findings), ...quiet],
    tables: [
      {
        caption: 'Chimes and warnings',
        head: HEAD,
        rows: judged.map(({ one, judgement }) => ({
          cells: [one.name, ...(judgement?.cells ?? ['left out', ...HEAD.slice(2).map(() => '–')])],
          verdict: judgement && worst([judgement, ...quietOf(one)].map(({ verdict }) => verdict)),
        })),
      },
    ],
    plots: plotsOf(judged),
    corrections: [],
    takes: judged.flatMap(({ step }) => (step ? [step.take] : [])),
    notes: notesOf(judged, context),
    cautions: [BEFORE_CHIMES, ...CAUTIONS.filter((caution) => caution.startsWith('Driving'))],
  }
}

/** Hook-up by hook-up, so that leads are moved as seldom as can be. */
function askedOf({ job, patches }: StageContext): Asked[] {
  return patches.flatMap((patch) => {
    const here = patch.leads.map(({ outputNumber }) => outputNumber)
    return job.chimes
      .filter(({ outputs }) => outputs.some((number) => here.includes(number)))
      .map((chime) => {
        const isWhole = chime.outputs.every((number) => here.includes(number))
        return {
          key: `${patch.name}: ${chime.name}`,
          chime,
          patch,
          name: isWhole ? chime.name : `${chime.name}, ${patch.name}`,
        }
      })
  })
}

/** Has the leads of a hook-up connected, unless they are. */
function connector({ bench, job, rig, guide, signal }: StageContext): (patch: PatchSpec) => Promise<void> {
  let connected: PatchSpec | null = null
  let leadsOn: LeadsOn = new Map()
  return async (patch) => {
    if (patch === connected) return
    leadsOn = await connectLeads(bench, job, rig, patch, leadsOn, guide, signal)
    connected = patch
  }
}

async function listen(
  { chime, patch, name }: Asked,
  { bench, rig, guide, memory, onProgress, signal }: StageContext,
  connect: (patch: PatchSpec) => Promise<void>,
): Promise<Listened | 'back' | 'skip'> {
  await connect(patch)
  const says = `${chime.name}: ${chime.trigger}\nGet ready and press Enter; make it sound when you read "now". Skip it if the vehicle has none.`
  const reply = await guide.todo({ name: `chimes.${chime.name}`, says, canSkip: true }, signal)
  if (reply !== 'done') return reply
  const asked = {
    waitS: chime.waitS,
    sound: async (stop: AbortSignal): Promise<void> => {
      guide.say(`Now: make ${chime.name} sound. It is listened for up to ${plain(chime.waitS, 0)} s.`)
      await bench.act({ kind: 'chime', name: chime.name }, stop)
    },
    onWaiting: (timeS: number): void =>
      onProgress({ step: 'listening', detail: name, doneS: Math.min(timeS, chime.waitS), totalS: chime.waitS }),
  }
  const { name: what, through } = takeNameIn(memory, `chime ${name}`)
  const { audio, take } = await memory.take(what, (makeSink) => captureChime(bench, makeSink, asked, signal))
  const from = Math.round(SETTLE_S * audio.sampleRateHz)
  const channels = patch.leads.map(({ inputNumber }) => audio.channels[inputNumber - 1].subarray(from))
  const fullScales = patch.leads.map(({ inputNumber }) => fullScaleAtLead(rig.inputs[inputNumber - 1]))
  const found = findChime(channels, audio.sampleRateHz, LEARN_S, fullScales)
  guide.say(found ? `Heard ${chime.name}.` : `${chime.name} was not heard within ${plain(chime.waitS, 0)} s.`)
  await through()
  return { take, heard: found && heardOf(found, patch, rig), curve: found && curveOf(found) }
}

function heardOf(found: FoundChime, patch: PatchSpec, rig: Rig): ChimeHeard {
  const { startS, endS, timeU, ratePerS, onsetS, freqHz, freqU } = found
  const spanS = onsetS.at(-1)! - startS
  return {
    outputs: patch.leads.map(({ inputNumber, outputNumber }, k) => {
      const { vrms, relativeU, isHeard } = found.inputs[k]
      const budget = { ...calibrationBudget(rig.inputs[inputNumber - 1]), noise: dbFromRelative(relativeU) }
      const options = { isAtMost: !isHeard, freqHz }
      const levelDbv = estimate(dbFromRatio(Math.max(vrms, 1e-9)), budget, CHIME_METHODS.level, options)
      return { number: outputNumber, levelDbv, isHeard }
    }),
    length: estimate(endS - startS, { 'onset and end': Math.SQRT2 * timeU }, CHIME_METHODS.length, {
      isAtLeast: found.isCutOff,
    }),
    rate:
      ratePerS === null
        ? null
        : estimate(ratePerS, { onsets: (ratePerS * Math.SQRT2 * timeU) / spanS }, CHIME_METHODS.rate),
    freq: estimate(freqHz, { spectrum: freqU }, CHIME_METHODS.freq),
    isCutOff: found.isCutOff,
  }
}

/** The loudest of each few windows. */
function curveOf({ curve, inputs, loudest }: FoundChime): Listened['curve'] {
  const step = Math.ceil(curve.timeS.length / POINTS_MAX)
  const count = Math.floor(curve.timeS.length / step)
  // 60 dB below its loudest is as good as nothing.
  const least = inputs[loudest].vrms / 1000
  const parts = Array.from({ length: count }, (_, i) => curve.vrms.slice(i * step, (i + 1) * step))
  return {
    timeS: parts.map((_, i) => SETTLE_S + curve.timeS[i * step]),
    levelDbv: parts.map((part) => dbFromRatio(Math.max(least, ...part))),
  }
}

type JudgedStep = {
  readonly one: Asked
  readonly step: Listened | null
  readonly judgement: ChimeJudgement | null
}

function summaryOf(judged: readonly JudgedStep[]): string {
  const made = judged.filter(({ judgement }) => judgement !== null)
  if (made.length === 0) return 'No chime was listened to.'
  const namesOf = (verdict: string): string[] => [
    ...new Set(made.filter(({ judgement }) => judgement!.verdict === verdict).map(({ one }) => one.chime.name)),
  ]
  const [failed, unsure] = [namesOf('fail'), namesOf('unsure')]
  const names = new Set(made.map(({ one }) => one.chime.name))
  const right = [...names].filter((name) => ![...failed, ...unsure].includes(name)).length
  const parts = [
    `${right} of ${names.size} chimes come from where they should`,
    ...(failed.length > 0 ? [`wrong: ${listed(failed)}`] : []),
    ...(unsure.length > 0 ? [`unsure: ${listed(unsure)}`] : []),
  ]
  return `${parts.join('; ')}.`
}

function plotsOf(judged: readonly JudgedStep[]): StagePlot[] {
  const series = judged.flatMap(({ one, step }) =>
    step?.curve ? [{ name: one.name, x: [...step.curve.timeS], y: [...step.curve.levelDbv] }] : [],
  )
  if (series.length === 0) return []
  return [
    {
      caption: 'Chimes over time, each on its loudest output',
      alt: `Level of ${listed(series.map(({ name }) => name))} over time.`,
      x: { says: 'time in the capture (s)', scale: 'linear' },
      y: { says: 'level (dBV)', scale: 'linear' },
      series,
      limits: [],
      marks: [{ says: 'asked for', x: SETTLE_S + LEARN_S }],
    },
  ]
}

function notesOf(judged: readonly JudgedStep[], { job, patches }: StageContext): string[] {
  const leftOut = [...new Set(judged.filter(({ step }) => step === null).map(({ one }) => one.name))]
  const cutOff = judged.filter(({ step }) => step?.heard?.isCutOff).map(({ one }) => one.name)
  const spoilt = judged.filter(({ step }) => step && step.take.faults.length > 0)
  const unheard = job.chimes.flatMap(({ name }) => {
    const mine = judged.filter(({ one, step }) => one.chime.name === name && step !== null)
    if (mine.length === 0 || patches.length === 1) return []
    const listened = mine.flatMap(({ one }) => one.patch.leads.map(({ outputNumber }) => outputNumber))
    const rest = job.outputs.map(({ number }) => number).filter((number) => !listened.includes(number))
    return rest.length === 0 ? [] : [`${name}: outputs ${listed(rest)} were in other hook-ups and not listened to.`]
  })
  return [
    ...(leftOut.length > 0 ? [`Left out by the person at the bench: ${listed(leftOut)}.`] : []),
    ...(cutOff.length > 0 ? [`Still sounding when the listening ended: ${listed(cutOff)}.`] : []),
    ...spoilt.map(({ one, step }) => `The capture of ${one.name} was not whole: ${step!.take.faults.join('; ')}.`),
    ...unheard,
  ]
}
