/** Logs a meter over minutes: one reading an interval, by the bench's clock. */
import type { LogPoint } from '../measure/standby-log.js'
import { MeterOverload } from '../rig/overload.js'
import type { Meter, MeterQuantity } from '../rig/roles.js'
import { StopError } from '../units/stop.js'
import type { StageContext } from './stage.js'

export interface LogSpec {
  /** Of the clock: times in the log count from here. */
  readonly fromS: number
  readonly lengthS: number
  /** 0: as fast as the meter reads. */
  readonly intervalS: number
  /** For the progress line. */
  readonly step: string
  readonly inWords: (value: number) => string
}

/** A meter that fails more often than this in a row has not just stumbled. */
const MISSED_COUNT_MAX = 5

/**
 * @param isDone looked at after each reading
 * @returns readings in time; null where the meter showed overload or had none
 * @throws StopError the meter's own, when it fails several times in a row
 */
export async function logUntil(
  { bench, onProgress, signal }: Pick<StageContext, 'bench' | 'onProgress' | 'signal'>,
  meter: Meter,
  quantity: MeterQuantity,
  { fromS, lengthS, intervalS, step, inWords }: LogSpec,
  isDone: (log: readonly LogPoint[]) => boolean,
): Promise<LogPoint[]> {
  const log: LogPoint[] = []
  let missedCount = 0
  for (let nextS = bench.clock.nowS(); ; nextS = Math.max(nextS + intervalS, bench.clock.nowS())) {
    const waitS = nextS - bench.clock.nowS()
    if (waitS > 0) await bench.clock.pause(waitS, signal)
    signal.throwIfAborted()
    let value: number | null = null
    try {
      value = (await meter.readOnce(quantity, signal)).value
      missedCount = 0
    } catch (error) {
      if (signal.aborted || !(error instanceof StopError)) throw error
      if (!(error instanceof MeterOverload) && ++missedCount > MISSED_COUNT_MAX) throw error
    }
    const atS = bench.clock.nowS() - fromS
    log.push({ atS, value })
    onProgress({
      step,
      detail: value === null ? 'no reading' : inWords(value),
      doneS: Math.min(atS, lengthS),
      totalS: lengthS,
    })
    if (isDone(log) || atS >= lengthS) return log
  }
}
