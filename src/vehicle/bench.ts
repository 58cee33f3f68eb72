/**
 * The simulated bench: the vehicle in the roles of hardware. It plays whatever it is given, as fast as it can compute.
 *
 * A capture that runs while something is played gets it, with some noise before and after; one that runs while time passes
 * gets what is heard of the vehicle then. Nothing else of the model shows outside.
 */
import type { Job } from '../job/job.js'
import type { PatchSpec, Rig } from '../rig/rig.js'
import type { Bench, Block, CaptureRun, HookUp, MeterQuantity, Setting } from '../rig/roles.js'
import { type Audio, durationS } from '../units/audio.js'
import { type Vrms, vrms } from '../units/level.js'
import { type Terminal, terminalOf } from './amplifier-model.js'
import { breathe } from './breath.js'
import type { Sounding } from './chime-model.js'
import { checkLeadsFault, type LeadsFault, putOn } from './fault-leads.js'
import type { Faults } from './faults.js'
import { afterAct, HANDS_AT_FIRST } from './hands.js'
import { renderLoop } from './loop.js'
import { modelMeter } from './meter.js'
import { captureModel, modelFromJob, type VehicleModel } from './model.js'
import { pinTruth } from './pins-model.js'
import { remoteTruth, supplyCurrentTruth } from './power-model.js'
import { renderQuiet } from './quiet.js'
import { renderTake } from './render.js'
import { seedFor } from './seeded.js'
import { supplyTruth } from './supply-model.js'

const BLOCK_FRAME_COUNT = 4096
const TAKE_NUMBER_END = 10_000
const SAYS = 'simulated vehicle'
const SAYS_WITHOUT_VEHICLE = 'simulated card'
/** The model's clock goes on while something is computed too: between two moments nothing happens. */
const CLOCK_START_S = 1000

/**
 * @param patches hook-ups by name, as the run will ask for them
 * @throws StopError when the faults do not fit the job
 */
export function simulatedBench(job: Job, rig: Rig, faults: Faults, patches: readonly PatchSpec[]): Bench {
  checkLeadsFault(faults.leads, job, faults.where)
  return benchOf(modelFromJob(job, faults), rig, patches, faults.leads, job.gains.terminalInput)
}

/** The card alone, for a rig that is checked by itself: of the faults only those of the capture count. */
export const simulatedCard = (rig: Rig, faults: Faults): Bench =>
  benchOf({ seed: faults.seed, capture: captureModel(faults) }, rig, [])

type CardModel = Pick<VehicleModel, 'seed' | 'capture'>

function benchOf(
  model: VehicleModel | CardModel,
  rig: Rig,
  patches: readonly PatchSpec[],
  leadsFault: LeadsFault | null = null,
  terminalInput: Terminal['onInput'] = null,
): Bench {
  const says = 'outputs' in model ? SAYS : SAYS_WITHOUT_VEHICLE
  let hookUp: HookUp | null = 'outputs' in model ? null : { kind: 'shorted' }
  let meterInput = rig.meter?.inputNumber ?? 1
  let setting: Setting = 'reference'
  let outputNumbers: readonly (number | null)[] = rig.inputs.map(() => null)
  let listener: ((block: Block) => void) | null = null
  const playCounts = new Map<string, number>()
  const askedCounts = new Map<string, number>()
  let leadVrms: readonly Vrms[] = rig.inputs.map(() => vrms(0))
  let terminalVrms = vrms(0)
  let hands = HANDS_AT_FIRST
  /** Of the capture that runs: which it is, how much of it has been heard, and the chimes in it. */
  let quiet: { captureNumber: number; heardS: number; soundings: Sounding[] } = {
    captureNumber: 0,
    heardS: 0,
    soundings: [],
  }
  let nowS = CLOCK_START_S
  const passTime = (timeS: number): void => {
    nowS += timeS
  }

  /** What is between the meter's leads. A lead of an output carries sound, and nothing steady. */
  const truth = (quantity: MeterQuantity): number | null => {
    const place = hands.meterAt
    if (place.at === 'pin' && 'pins' in model) return pinTruth(model.pins, place, hands.ignition, quantity)
    if (place.at === 'remote' && 'power' in model) {
      return quantity === 'dcVolts' ? remoteTruth(model.power, hands, nowS) : quantity === 'ohms' ? null : 0
    }
    if (place.at === 'supply current' && 'power' in model) {
      return quantity === 'dcAmps' ? supplyCurrentTruth(model.power, hands, nowS, model.seed) : 0
    }
    if (hands.meterAt.at === 'supply' && 'supply' in model) {
      return supplyTruth(model.supply, hands.engineRpm !== null, quantity)
    }
    if (place.at === 'amplifier') return { acVolts: terminalVrms, dcVolts: 0, dcAmps: 0, ohms: null }[quantity]
    if (hands.meterAt.at !== 'input') return 0
    return { acVolts: leadVrms[meterInput - 1], dcVolts: 0, dcAmps: 0, ohms: null }[quantity]
  }

  const terminal = (): Terminal | null => {
    const place = hands.meterAt
    const amplifier =
      place.at === 'amplifier' && 'amplifiers' in model ? model.amplifiers.get(place.channel) : undefined
    if (place.at !== 'amplifier' || !amplifier) return null
    return terminalOf(amplifier, hands.sensitivityVrms.get(place.channel), terminalInput)
  }

  const start = async (onBlock: (block: Block) => void, signal: AbortSignal): Promise<CaptureRun> => {
    signal.throwIfAborted()
    if (listener) throw new RangeError('simulatedBench: a capture runs already')
    listener = onBlock
    quiet = { captureNumber: quiet.captureNumber + 1, heardS: 0, soundings: [] }
    return {
      sampleRateHz: rig.capture.sampleRateHz,
      inputCount: rig.inputs.length,
      stop: async () => {
        if (listener === onBlock) listener = null
        return []
      },
    }
  }

  const play = async (audio: Audio, signal: AbortSignal): Promise<void> => {
    signal.throwIfAborted()
    // Chance hangs on what is played where, not on what came before: a run that goes on hears what it would have heard.
    const { engineRpm } = hands
    const running = engineRpm === null ? [] : [engineRpm]
    const what = JSON.stringify([hookUp ?? outputNumbers, setting, audio.channels[0].length, ...running])
    const playCount = (playCounts.get(what) ?? 0) + 1
    playCounts.set(what, playCount)
    const takeNumber = seedFor(playCount, what) % TAKE_NUMBER_END
    const pace = { signal, breathe }
    const rendered =
      hookUp === null && 'outputs' in model
        ? await renderTake(
            model,
            audio,
            { setting, outputNumbers, takeNumber, engineRpm, terminal: terminal() },
            rig,
            pace,
          )
        : await renderLoop(model, audio, hookUp ?? { kind: 'shorted' }, takeNumber, rig, pace)
    leadVrms = rendered.leadVrms
    terminalVrms = rendered.terminalVrms
    passTime(durationS(audio))
    const { channels } = rendered.audio
    for (let from = 0; from < channels[0].length && listener; from += BLOCK_FRAME_COUNT) {
      await breathe()
      signal.throwIfAborted()
      listener?.(channels.map((channel) => channel.subarray(from, from + BLOCK_FRAME_COUNT)))
    }
  }

  /** Time passes while a capture runs and nothing is played. */
  const hear = (timeS: number): void => {
    if (!listener || !('outputs' in model) || hookUp !== null) return
    const { captureNumber, heardS: fromS, soundings } = quiet
    const { engineRpm } = hands
    const stretch = { fromS, lengthS: timeS, outputNumbers, engineRpm, soundings, captureNumber }
    const channels = renderQuiet(model, stretch, rig)
    // In whole samples: the next stretch begins where this one ends.
    quiet.heardS += channels[0].length / rig.capture.sampleRateHz
    listener(channels)
  }

  return {
    says,
    isSimulated: true,
    capture: { where: says, start },
    player: { where: says, play },
    meter: rig.meter && modelMeter(rig.meter, model.seed, model.capture.meterFactor, truth, passTime),
    connect: async (to, signal) => {
      signal.throwIfAborted()
      if (typeof to !== 'string') {
        hookUp = to
        meterInput = (to.kind === 'looped' ? to.meterInput : null) ?? meterInput
        return
      }
      const patch = patches.find(({ name }) => name === to)
      if (!patch) throw new RangeError(`simulatedBench: no patch "${to}"`)
      hookUp = null
      meterInput = rig.meter?.inputNumber ?? 1
      const askedCount = (askedCounts.get(to) ?? 0) + 1
      askedCounts.set(to, askedCount)
      outputNumbers = rig.inputs.map((_, index) => {
        const lead = patch.leads.find(({ inputNumber }) => inputNumber === index + 1)
        return lead ? putOn(leadsFault, lead.outputNumber, askedCount) : null
      })
    },
    set: async (next, signal) => {
      signal.throwIfAborted()
      setting = next
    },
    act: async (act, signal) => {
      signal.throwIfAborted()
      hands = afterAct(hands, act, nowS)
      const chime = act.kind === 'chime' && 'outputs' in model ? model.chimes.get(act.name) : undefined
      if (chime) quiet.soundings.push({ chime, atS: quiet.heardS })
    },
    clock: {
      nowS: () => nowS,
      pause: async (timeS, signal) => {
        signal.throwIfAborted()
        passTime(timeS)
        hear(timeS)
      },
    },
    close: async () => {
      listener = null
    },
  }
}
