/**
 * Waking, sleeping and standby current, logged over minutes.
 *
 * There is one meter, so it goes in passes: at the remote turn-on (waking and falling asleep, whichever comes first as the
 * vehicle is), then in series with the supply. A pass that was interrupted is begun anew: a log with a hole in it, on a
 * vehicle that somebody may have opened meanwhile, says nothing.
 */
import type { ScenarioStep, StandbySpec } from '../job/standby.js'
import { cleaned, edgeOf, type LogPoint, settledLevel } from '../measure/standby-log.js'
import type { Act } from '../rig/acts.js'
import type { Meter, MeterQuantity } from '../rig/roles.js'
import { StopError } from '../units/stop.js'
import { inVolts } from '../units/words.js'
import { inA, inS, REMOTE, readStandby } from '../verdict/standby-checks.js'
import { standbyResult } from '../verdict/standby-result.js'
import { logUntil } from './meter-log.js'
import { DIAL_WORDS, meterOf, untilRead } from './meter-steps.js'
import { inSteps, type Stage, type StageContext } from './stage.js'

const IN_LINE = [
  'Meter in series: use its 10 A socket and range, and mind its fuse. Keep a bypass lead across the meter until the vehicle is locked.',
  'While the meter is in series without the bypass: open no door, unlock nothing, switch no ignition on, never start the engine.',
  'Fuse the supply at the battery, and work on it with the battery disconnected where its maker says so.',
]

const STEPS: Readonly<Record<ScenarioStep, { readonly says: string; readonly act: Act }>> = {
  unlock: { says: 'Unlock the vehicle and open the driver’s door.', act: { kind: 'doors', to: 'unlocked' } },
  ignition_on: { says: 'Ignition on, and Enter at the same moment.', act: { kind: 'ignition', to: 'on' } },
  ignition_off: { says: 'Ignition off, key out.', act: { kind: 'ignition', to: 'off' } },
  doors_shut: { says: 'Get out, shut all doors, bonnet and boot.', act: { kind: 'doors', to: 'shut' } },
  lock: {
    says: 'Lock the vehicle and take the key away, and Enter at the same moment.',
    act: { kind: 'doors', to: 'locked' },
  },
}

/** It is watched so much longer than it may take to wake, and at least so long. */
const [WAKE_FACTOR, WAKE_S_MIN] = [3, 30]
/** After the remote has fallen: by then a milliampere range holds what is drawn. */
const BYPASS_S = 60
/** Whether it has settled is looked at once in so many readings. */
const LOOK_COUNT = 10
/** Something that sleeps needs so long to settle; and one that does not sleep is logged no longer than this. */
const [SETTLE_S, AWAKE_S] = [120, 120]
/** So many readings at the end of an edge's log show that it stays. */
const AFTER_COUNT = 5

interface PassLeft {
  readonly kind: 'wake' | 'sleep' | 'current'
  readonly log: readonly LogPoint[]
}

export const standbyStage: Stage = async (context) => {
  const { job, rig, bench, guide, memory, now, signal } = context
  const spec = job.standby
  if (spec === null) {
    const remedy =
      'Add "standby:" to the job file; {} takes the usual limits, battery_ah: 70 tells the days until flat.'
    throw new StopError('the stage standby needs limits, and the job has none', `job ${job.name}`, remedy)
  }
  const meter = meterOf(context, 'standby')
  const kept = memory.get('started')
  const startedAt = typeof kept === 'string' ? kept : now().toISOString()
  await memory.put('started', startedAt)
  const passes = new Passes(context, spec, meter)
  const first = (): PassLeft | null | undefined => memory.get('standby.remote 1') as PassLeft | null | undefined
  const left = await inSteps<PassLeft>(
    [
      { key: 'standby.remote 1', run: () => passes.remote(null) },
      { key: 'standby.remote 2', run: () => passes.remote(first()?.kind === 'sleep' ? 'wake' : 'sleep') },
      {
        key: 'standby.current',
        run: () => passes.current(memory.get('standby.remote 1'), memory.get('standby.remote 2')),
      },
    ],
    memory,
    signal,
  )
  await guide.todo(
    { name: 'standby.end', says: 'Take the meter off; the supply goes back as it was.', canSkip: false },
    signal,
  )
  await bench.act({ kind: 'meter', to: { at: 'input' } }, signal)
  const logOf = (kind: PassLeft['kind']): readonly LogPoint[] | null =>
    left.find((pass) => pass?.kind === kind)?.log ?? null
  const logs = { wake: logOf('wake'), sleep: logOf('sleep'), current: logOf('current') }
  return { ...standbyResult(spec, logs, rig.meter!, IN_LINE), startedAt, endedAt: now().toISOString() }
}

type Asked<T> = T | 'back' | 'skip'

class Passes {
  /** Where the leads are, since this command began. */
  private leadsAt: string | null = null
  private readonly wakeSteps: readonly ScenarioStep[]
  private readonly sleepSteps: readonly ScenarioStep[]

  constructor(
    private readonly context: StageContext,
    private readonly spec: StandbySpec,
    private readonly meter: Meter,
  ) {
    const on = spec.scenario.indexOf('ignition_on') + 1
    this.wakeSteps = spec.scenario.slice(0, on)
    this.sleepSteps = spec.scenario.slice(on)
  }

  /** @param kind null: whichever the vehicle is ready for */
  async remote(kind: 'wake' | 'sleep' | null): Promise<Asked<PassLeft>> {
    const says = 'Meter on DC volts: red lead on the remote turn-on of the interface, black lead on its ground.'
    const ready = await this.place({ at: 'remote' }, 'standby.remote', says, 'dcVolts')
    if (typeof ready === 'string') return ready
    const which = kind ?? (ready.value >= REMOTE.highMin ? 'sleep' : 'wake')
    const isWake = which === 'wake'
    const fromS = await this.doSteps(isWake ? this.wakeSteps : this.sleepSteps, `standby.${which}`)
    if (typeof fromS === 'string') return fromS
    const lengthS = isWake ? Math.max(WAKE_S_MIN, WAKE_FACTOR * this.spec.wakeSMax) : this.spec.watchS
    const to = isWake ? 'high' : 'low'
    const log = await logUntil(
      this.context,
      this.meter,
      'dcVolts',
      // Waking is over in a moment: as fast as the meter reads.
      {
        fromS,
        lengthS,
        intervalS: isWake ? 0 : this.spec.intervalS,
        step: `remote turn-on, until ${to}`,
        inWords: inVolts,
      },
      (points) => edgeOf(points.slice(0, 1 - AFTER_COUNT), to, REMOTE) !== null,
    )
    const edge = edgeOf(log, to, REMOTE)
    const word = isWake ? 'high' : 'low'
    this.context.guide.say(
      edge ? `Remote turn-on ${word} after ${inS(edge.atS)}.` : `Remote turn-on not ${word} within ${inS(lengthS)}.`,
    )
    return { kind: which, log }
  }

  /** @param earlier what the passes at the remote turn-on left: how long it takes to fall asleep */
  async current(...earlier: readonly unknown[]): Promise<Asked<PassLeft>> {
    for (const line of IN_LINE) this.context.guide.say(`Caution: ${line}`)
    const sleepLog = (earlier as (PassLeft | null | undefined)[]).find((pass) => pass?.kind === 'sleep')?.log ?? null
    const sleepS = sleepLog && (edgeOf(sleepLog, 'low', REMOTE)?.atS ?? null)
    const says =
      'Ignition off. Bypass lead across the gap first, then the meter in series with the supply of the interface, on DC amperes, 10 A.'
    const ready = await this.place({ at: 'supply current' }, 'standby.in-line', says, 'dcAmps')
    if (typeof ready === 'string') return ready
    const fromS = await this.doSteps(this.sleepSteps, 'standby.current')
    if (typeof fromS === 'string') return fromS
    const bypass = {
      name: 'standby.bypass',
      says: `Take the bypass lead off. For a milliampere range wait ${sleepS === null ? 'until the interface sleeps' : `${inS(sleepS + BYPASS_S)} from locking`} with it on, and change the range first.`,
      canSkip: true,
    }
    const reply = await this.context.guide.todo(bypass, this.context.signal)
    if (reply !== 'done') return reply
    const staysAwake = sleepLog !== null && sleepS === null
    const lengthS = staysAwake ? AWAKE_S : this.spec.watchS + SETTLE_S
    const log = await logUntil(
      this.context,
      this.meter,
      'dcAmps',
      { fromS, lengthS, intervalS: this.spec.intervalS, step: 'supply current, until it settles', inWords: inA },
      (points) =>
        points.length % LOOK_COUNT === 0 &&
        (points.at(-1)?.atS ?? 0) > (sleepS ?? this.spec.watchS) + SETTLE_S &&
        this.isGood(points),
    )
    const settled = settledLevel(cleaned(log, 0).points, 0)
    this.context.guide.say(settled ? `Supply current ${inA(settled.level)}.` : 'The supply current has not settled.')
    return { kind: 'current', log }
  }

  /** Settled and low enough: no reason to wait for less. One that is too high is watched to the end. */
  private isGood(log: readonly LogPoint[]): boolean {
    const { standby } = readStandby(this.spec, { wake: null, sleep: null, current: log }, this.context.rig.meter!)
    return standby !== null && standby.value + standby.u <= this.spec.currentAMax
  }

  /** Leads where they have to be, and one reading that shows that the meter is set as it should be. */
  private async place(
    to: { readonly at: 'remote' } | { readonly at: 'supply current' },
    name: string,
    says: string,
    quantity: MeterQuantity,
  ): Promise<Asked<{ readonly value: number }>> {
    const { guide, bench, signal } = this.context
    if (this.leadsAt !== to.at) {
      const reply = await guide.todo({ name, says, canSkip: true }, signal)
      if (reply !== 'done') return reply
      await bench.act({ kind: 'meter', to }, signal)
      this.leadsAt = to.at
    }
    return untilRead(this.context, `${name}.again`, async () => {
      const { value } = await this.meter.readOnce(quantity, signal)
      guide.say(`The meter reads ${quantity === 'dcAmps' ? inA(value) : inVolts(value)} (${DIAL_WORDS[quantity]}).`)
      return { value }
    })
  }

  /** @returns the moment of the last one */
  private async doSteps(steps: readonly ScenarioStep[], name: string): Promise<Asked<number>> {
    const { guide, bench, signal } = this.context
    for (let at = 0; at < steps.length; ) {
      const { says, act } = STEPS[steps[at]]
      const reply = await guide.todo({ name: `${name}.${steps[at]}`, says, canSkip: false }, signal)
      if (reply === 'back' && at === 0) return 'back'
      if (reply === 'back') {
        at--
        continue
      }
      await bench.act(act, signal)
      at++
    }
    return bench.clock.nowS()
  }
}
