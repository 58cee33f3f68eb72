/**
 * The engine running: each output's noise against the engine stopped, whine that goes with its speed, and the supply by the
 * meter.
 *
 * Hook-up by hook-up: engine stopped, then at each speed, then stopped again before leads are moved. However the stage ends, a
 * running engine is asked to be stopped.
 */
import { type EngineSpec, IDLE_RPM } from '../job/engine.js'
import { ALTERNATOR_METHODS, ripplePeakToPeak } from '../measure/alternator.js'
import type { NoiseReading } from '../measure/analysis.js'
import { engineNoise } from '../measure/engine-noise.js'
import { estimate } from '../measure/estimate.js'
import { readNoise } from '../measure/noise-reading.js'
import { engineFiguresOf } from '../measure/settings-figures.js'
import { MeterOverload } from '../rig/overload.js'
import { fullScaleAtLead, isStartedByHand, type MeterSpec, type PatchSpec } from '../rig/rig.js'
import type { Meter } from '../rig/roles.js'
import type { LeadsOn } from '../stimulus/hook-up-plan.js'
import { StopError } from '../units/stop.js'
import { uFromLimits } from '../units/uncertainty.js'
import { BEFORE_ENGINE } from '../verdict/cautions.js'
import type { OutputAtSpeed, SupplyAtSpeed } from '../verdict/engine-checks.js'
import type { StageResult, StageTake } from '../verdict/stage-result.js'
import { captureWhile, takeNameIn } from './capture-while.js'
import { type EngineStep, engineResult, type NoiseSaid, noiseSaid } from './engine-result.js'
import { connectLeads } from './hook-up.js'
import { meterOf } from './meter-steps.js'
import { numberIn } from './question.js'
import { inSteps, type StageContext, type Step } from './stage.js'
import { type MakeSink, type RawTake, takeOnce } from './take.js'

/** Digital silence, and what at its ends is left out: a player that starts or ends may click. */
const QUIET_S = 8
const EDGE_S = 1.3
/** A noise reading needs so much. */
const LEAST_S = 3
const SPEED_RPM = [300, 8000] as const

type Speed = EngineSpec['speedsRpm'][number]
const wordsOf = (speed: Speed): string => (speed === 'idle' ? 'idle' : `${speed} rpm`)

/** @throws StopError when the rig has no meter, nobody is there for a real engine, or an instrument stops it */
export async function engineStage(context: StageContext): Promise<StageResult> {
  const { job, rig, patches, bench, guide, memory, now, signal } = context
  if (!bench.meter || !rig.meter) {
    const remedy = "Add meter: to the rig file, or leave engine out of the job's stages."
    throw new StopError('the supply is read by a meter, and the rig has none', `rig "${rig.name}"`, remedy, 'input')
  }
  if (!guide.isAttended && !bench.isSimulated) {
    const remedy = 'Run this stage with a person at the bench.'
    throw new StopError('a running engine is never left alone', `job "${job.name}"`, remedy, 'input')
  }
  const startedAt = now().toISOString()
  const run = new EngineRun(context, meterOf(context, 'engine'), rig.meter)
  const steps = patches.flatMap((patch, k) => [
    run.stopped(patch),
    ...job.engine.speedsRpm.map((speed) => run.running(patch, speed, k === 0)),
    run.stop(patch),
  ])
  try {
    if (steps.some(({ key }) => memory.get(key) === undefined)) {
      const says = `Caution: ${BEFORE_ENGINE}\nPress Enter when the vehicle stands so.`
      while ((await guide.todo({ name: 'engine.outdoors', says, canSkip: false }, signal)) !== 'done');
    }
    const left = await inSteps(steps, memory, signal)
    return engineResult(
      left.filter((step) => step !== null),
      { startedAt, endedAt: now().toISOString() },
      job,
    )
  } finally {
    await run.end()
  }
}

class EngineRun {
  private connected: PatchSpec | null = null
  private leadsOn: LeadsOn = new Map()
  private isMeterPlaced = false
  private isRunning = false

  constructor(
    private readonly context: StageContext,
    private readonly meter: Meter,
    private readonly meterSpec: MeterSpec,
  ) {}

  stopped(patch: PatchSpec): Step<EngineStep> {
    const { bench, guide, signal } = this.context
    return {
      key: `${patch.name}: engine off`,
      run: async () => {
        const says = 'Stop the engine, then switch the ignition on. Pause the radio, and leave its volume where it is.'
        const reply = await guide.todo({ name: 'engine.off', says, canSkip: false }, signal)
        if (reply !== 'done') return reply
        await bench.act({ kind: 'engine', speedRpm: null }, signal)
        this.isRunning = false
        await bench.act({ kind: 'ignition', to: 'on' }, signal)
        await this.connect(patch)
        const { take, readings } = await this.takeQuiet(patch, 'engine off')
        return { kind: 'off', take, outputs: readings.map(said), reference: readings.map(({ noise }) => noise) }
      },
    }
  }

  running(patch: PatchSpec, speed: Speed, readsSupply: boolean): Step<EngineStep> {
    const { bench, rig, guide, memory, signal } = this.context
    const words = wordsOf(speed)
    return {
      key: `${patch.name}: ${words}`,
      run: async () => {
        // A run that goes on here has not connected them yet.
        await this.connect(patch)
        if (readsSupply && !(await this.placeMeter())) return 'back'
        const answer = await guide.value(
          {
            name: `engine.${words}`,
            asks: `${speed === 'idle' ? 'Start the engine and let it idle' : `${this.isRunning ? 'Hold the engine' : 'Start the engine and hold it'} at ${speed} turns a minute`}. When it is steady: what does the tachometer read?`,
            why: 'Keep it there until the next question. Whine is told from other tones by going with the speed.',
            usual: String(speed === 'idle' ? IDLE_RPM : speed),
            check: numberIn(...SPEED_RPM),
          },
          signal,
        )
        if (answer === null) return 'back'
        const speedRpm = Number(answer)
        this.isRunning = true
        await bench.act({ kind: 'engine', speedRpm }, signal)
        const { take, readings } = await this.takeQuiet(patch, `engine ${words}`)
        const off = memory.get(`${patch.name}: engine off`) as EngineStep & { kind: 'off' }
        const outputs = patch.leads.map(({ inputNumber, outputNumber }, k): OutputAtSpeed => {
          const { samples, sampleRateHz, noise } = readings[k]
          const engine = engineNoise(samples, sampleRateHz, noise, off.reference[k])
          const figures = engineFiguresOf(engine, rig.inputs[inputNumber - 1])
          return { number: outputNumber, speed: words, speedRpm, engine: figures }
        })
        return {
          kind: 'running',
          take,
          words,
          speedRpm,
          outputs,
          noise: readings.map(said),
          supply: readsSupply ? await this.readSupply(words) : null,
        }
      },
    }
  }

  stop(patch: PatchSpec): Step<EngineStep> {
    const { bench, guide, signal } = this.context
    return {
      key: `${patch.name}: engine stopped`,
      run: async () => {
        const reply = await guide.todo({ name: 'engine.stop', says: 'Stop the engine.', canSkip: false }, signal)
        if (reply !== 'done') return reply
        await bench.act({ kind: 'engine', speedRpm: null }, signal)
        this.isRunning = false
        return { kind: 'stopped' }
      },
    }
  }

  /** However it ended. */
  async end(): Promise<void> {
    if (!this.isRunning) return
    this.context.guide.say('Stop the engine now.')
    await this.context.bench.act({ kind: 'engine', speedRpm: null }, new AbortController().signal).catch(() => {})
  }

  private async connect(patch: PatchSpec): Promise<void> {
    if (patch === this.connected) return
    const { bench, job, rig, guide, signal } = this.context
    this.leadsOn = await connectLeads(bench, job, rig, patch, this.leadsOn, guide, signal)
    this.connected = patch
  }

  /** @returns false when the person steps back */
  private async placeMeter(): Promise<boolean> {
    if (this.isMeterPlaced) return true
    const { bench, guide, signal } = this.context
    const says =
      'Put the meter across the supply of the interface: red at its fused supply, black at its ground. Lay the leads clear of belts and fans.'
    if ((await guide.todo({ name: 'engine.meter', says, canSkip: false }, signal)) === 'back') return false
    await bench.act({ kind: 'meter', to: { at: 'supply' } }, signal)
    this.isMeterPlaced = true
    return true
  }

  private async takeQuiet(
    patch: PatchSpec,
    what: string,
  ): Promise<{ readonly take: StageTake; readonly readings: readonly QuietReading[] }> {
    const { bench, job, memory, patches, rig, onProgress, signal } = this.context
    const named = patches.length === 1 ? what : `${what}, ${patch.name}`
    const { name, through } = takeNameIn(memory, named)
    const says = { step: 'listening to silence', detail: named }
    const sound = {
      sampleRateHz: job.track.sampleRateHz,
      channels: [0, 1].map(() => new Float32Array(QUIET_S * job.track.sampleRateHz)),
    }
    const make = async (makeSink: MakeSink): Promise<RawTake> => {
      // Nothing can be played where a person starts the player: the radio is paused then.
      const raw = isStartedByHand(rig.player)
        ? await captureWhile(bench, makeSink, (_, stop) => bench.clock.pause(QUIET_S + 2 * EDGE_S, stop), signal)
        : await takeOnce(bench, sound, makeSink, says, onProgress, signal)
      const lengthS = raw.audio.channels[0].length / raw.audio.sampleRateHz
      if (!raw.isBrokenOff && lengthS >= 2 * EDGE_S + LEAST_S) return raw
      const remedy = 'Check the card and its cable, then give the same command again.'
      throw new StopError(`the capture of ${named} broke off`, bench.capture.where, remedy, 'instrument')
    }
    const { audio, take } = await memory.take(name, make)
    const { sampleRateHz } = audio
    const edge = Math.round(EDGE_S * sampleRateHz)
    const readings = patch.leads.map(({ inputNumber, outputNumber }) => {
      const samples = audio.channels[inputNumber - 1].slice(edge, -edge)
      const fullScaleVrms = fullScaleAtLead(rig.inputs[inputNumber - 1])
      return {
        number: outputNumber,
        samples,
        sampleRateHz,
        fullScaleVrms,
        noise: readNoise(samples, sampleRateHz, null),
      }
    })
    await through()
    return { take, readings }
  }

  private async readSupply(words: string): Promise<SupplyAtSpeed> {
    const dc = await this.read('dcVolts')
    const ac = await this.read('acVolts')
    const uOf = (volts: number): number =>
      uFromLimits((this.meterSpec.accuracyPct / 100) * volts + this.meterSpec.accuracyVrms, 'rectangular')
    return {
      speed: words,
      dcVolts: dc === null ? null : estimate(dc, { 'meter specification': uOf(dc) }, ALTERNATOR_METHODS.supply),
      ripple: ac === null ? null : ripplePeakToPeak(ac, uOf(ac)),
    }
  }

  private async read(quantity: 'acVolts' | 'dcVolts'): Promise<number | null> {
    try {
      return (await this.meter.read(quantity, this.context.signal)).value
    } catch (error) {
      if (error instanceof MeterOverload) return null
      throw error
    }
  }
}

interface QuietReading {
  readonly number: number
  readonly samples: Float32Array
  readonly sampleRateHz: number
  readonly fullScaleVrms: number
  readonly noise: NoiseReading
}

const said = ({ number, noise, fullScaleVrms }: QuietReading): NoiseSaid => noiseSaid(number, noise, fullScaleVrms)
