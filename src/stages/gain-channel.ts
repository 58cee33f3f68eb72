/**
 * One amplifier channel: a person connects and turns, the tone plays, the meter reads its terminals, and an attenuated input
 * sees where it clips.
 */
import type { AmplifierSpec } from '../job/gains.js'
import { relativeFromDb } from '../measure/estimate.js'
import { type GainTarget, settingOffDb } from '../measure/gain-structure.js'
import { CLIPPED_FS } from '../measure/input-meter.js'
import { calibrationBudget } from '../measure/rig-reach.js'
import { readStaircase } from '../measure/staircase.js'
import { fullScaleAtLead, meterLimitVrms } from '../rig/rig.js'
import { ratioFromDb } from '../units/level.js'
import { StopError } from '../units/stop.js'
import { inHz, inVolts, listed, plain } from '../units/words.js'
import { type ChannelVolts, DEAD_DB } from '../verdict/gain-channel-part.js'
import type { StageTake } from '../verdict/stage-result.js'
import { takeExcerpt } from './excerpt-take.js'
import { whileItSounds } from './meter-check.js'
import type { StageContext } from './stage.js'
import { whileTone } from './tone-while.js'

/** What a finished channel leaves. */
export interface ChannelReading extends ChannelVolts {
  readonly channel: string
  readonly takes: readonly StageTake[]
}

export interface ChannelRequest {
  readonly spec: AmplifierSpec
  readonly target: GainTarget
  readonly freqHz: number
  /** null: the reference volume. */
  readonly volume: number | null
}

/** The gain is down, so the first tone may be quieter by this and still give this share of the target at most. */
const QUIET = { byDb: 20, shareMax: 0.2 } as const
/** A channel is asked for again so often while it is off. */
const AGAIN_MAX = 3
const THD_CLIPS = 0.01
/** Common practice, no source: from here on a touch may hurt. */
const TOUCH_V = 50

/** @throws StopError when the meter does not answer, or the first quiet tone is far too loud */
export async function setChannel(
  context: StageContext,
  request: ChannelRequest,
): Promise<ChannelReading | 'back' | 'skip'> {
  const { bench, guide, signal } = context
  const { spec } = request
  const name = `gains.${spec.name}`
  for (;;) {
    const connected = await guide.todo(
      { name: `${name} connect`, says: connectWords(context, spec, request.target), canSkip: true },
      signal,
    )
    if (connected !== 'done') return connected
    await bench.act({ kind: 'meter', to: { at: 'amplifier', channel: spec.name } }, signal)
    await checkQuiet(context, request)
    const set = await turned(context, request, name)
    if (set === 'back') continue
    if (set === 'skip') return 'skip'
    // A channel that is set once more is captured once more.
    const attempt = 1 + ((context.memory.get(`attempts ${spec.name}`) as number | undefined) ?? 0)
    await context.memory.put(`attempts ${spec.name}`, attempt)
    // Where the meter reads next to nothing there is no track to be found either.
    const isDead = set < ratioFromDb(DEAD_DB) * request.target.terminalVrms
    const seen = isDead ? null : await terminals(context, request, attempt)
    const { clipping, takes } = seen ?? { clipping: null, takes: [] }
    return { channel: spec.name, readVrms: set, clipping, takes }
  }
}

function connectWords({ job }: StageContext, spec: AmplifierSpec, { terminalVrms }: GainTarget): string {
  const { name, outputs, isBridged, isLoaded } = spec
  const input = job.gains.terminalInput
  return [
    `${name}: gain fully down. ${isLoaded ? 'Its load stays on, as the job says it is rated for it' : 'Take its load off: speakers unplugged'}; nobody near a speaker that is still connected.`,
    `Connect output${outputs.length > 1 ? 's' : ''} ${listed(outputs)} to its input, the meter (AC volts) across its two speaker terminals${input ? `, and input ${input.inputNumber} through its ${input.padDb} dB attenuator beside it` : ''}.`,
    isBridged
      ? 'It is bridged: both terminals are live. Neither may touch ground; meter and attenuator have to float.'
      : 'Meter and attenuator have to float: many amplifiers do not ground either terminal.',
    `Terminals ${Math.SQRT2 * terminalVrms > TOUCH_V ? `may carry more than ${inVolts(TOUCH_V)}` : 'are live'}: do not touch them while the tone plays.`,
  ].join(' ')
}

async function checkQuiet(context: StageContext, { spec, target, freqHz }: ChannelRequest): Promise<void> {
  const readVrms = await reading(context, spec, freqHz, spec.overlapDb - QUIET.byDb)
  if (readVrms <= QUIET.shareMax * target.terminalVrms) return
  throw new StopError(
    `with a tone ${QUIET.byDb} dB down ${spec.name} has ${inVolts(readVrms)} at its terminals already; nothing louder was played`,
    `${spec.name}, amplifier terminals`,
    'Turn its gain fully down, check what is connected to its input, then give the same command again.',
    'instrument',
  )
}

async function turned(
  context: StageContext,
  { spec, target, freqHz, volume }: ChannelRequest,
  name: string,
): Promise<number | 'back' | 'skip'> {
  const { bench, guide, job, rig, signal } = context
  const says = `${spec.name}: turn its gain up until the meter shows ${inVolts(target.terminalVrms)} ± ${job.gains.toleranceDb} dB (tone ${inHz(freqHz)} at ${plain(spec.overlapDb, 0)} dBFS, ${volume === null ? 'reference volume' : `volume ${volume}`}; sensitivity ${inVolts(target.setVrms)}${target.reach === 'too little input' ? ', its gain fully up' : ''}).`
  for (let count = 1; ; count++) {
    const reply = await whileTone(context, freqHz, spec.overlapDb, (stop) =>
      guide.todo({ name: `${name} set`, says, canSkip: true }, stop),
    )
    if (reply !== 'done') return reply
    await bench.act({ kind: 'sensitivity', channel: spec.name, inputVrms: target.setVrms }, signal)
    const readVrms = await reading(context, spec, freqHz, spec.overlapDb)
    const offDb = settingOffDb(readVrms, target.terminalVrms, meterLimitVrms(rig.meter!, readVrms), freqHz)
    if (Math.abs(offDb.value) <= job.gains.toleranceDb || !guide.isAttended || count === AGAIN_MAX) return readVrms
    guide.say(`The meter reads ${inVolts(readVrms)}, ${plain(offDb.value, 1)} dB off.`)
  }
}

async function reading(
  { bench, job, onProgress, signal }: StageContext,
  { name }: AmplifierSpec,
  freqHz: number,
  levelDbfs: number,
): Promise<number> {
  const step = { step: 'tone for the amplifier', detail: name }
  return (await whileItSounds(bench, job, freqHz, step, onProgress, signal, levelDbfs)).meterVrms
}

async function terminals(
  context: StageContext,
  { spec, freqHz }: ChannelRequest,
  attempt: number,
): Promise<Pick<ChannelReading, 'clipping' | 'takes'> | null> {
  const { job, rig } = context
  const wired = job.gains.terminalInput
  if (!wired) return null
  const patch = { name: spec.name, leads: [{ inputNumber: wired.inputNumber, outputNumber: spec.outputs[0] }] }
  // The meter has read these terminals with the loudest tone that was meant for them.
  const { audio, take, located } = await takeExcerpt(context, {
    patch,
    kind: 'staircases',
    what: `terminals ${spec.name}${attempt > 1 ? ` ${attempt}` : ''}`,
    prepare: async () => {},
    expected: job,
    isProbed: true,
  })
  const delayS = Math.max(...job.outputs.filter(({ number }) => spec.outputs.includes(number)).map((one) => one.delayS))
  const samples = audio.channels[wired.inputNumber - 1]
  const staircase = readStaircase(samples, located, freqHz, { thdLimitRatio: THD_CLIPS, delayS })
  if (!staircase) return { clipping: null, takes: [take] }
  const input = rig.inputs[wired.inputNumber - 1]
  const top = staircase.steps.at(-1)!
  const { onset } = staircase
  const volts = fullScaleAtLead(input) * ratioFromDb(wired.padDb)
  const calibration = Object.entries(calibrationBudget(input)).map(([source, uDb]) => [source, relativeFromDb(uDb)])
  return {
    takes: [take],
    clipping: {
      vrms: volts * (onset?.peakFs ?? top.peakFs),
      isAtLeast: onset === null,
      budget: { ...Object.fromEntries(calibration), staircase: relativeFromDb(onset?.sourceDbU ?? 0) },
      isCardOverdriven: top.samplePeakFs >= CLIPPED_FS,
    },
  }
}
