/**
 * The error queue of an instrument that speaks SCPI: emptied before it is set up, so that what it holds later is ours.
 *
 * Source: SCPI-1999, SYSTem:ERRor?: oldest first, 0,"No error" when empty. An instrument that does not answer has no queue.
 */
import { StopError } from '../units/stop.js'
import type { LineLink } from './line-link.js'

const QUESTION = 'SYST:ERR?'
const TIMEOUT_S = 2
/** No queue is as long; one that goes on makes its errors by being asked. */
const ERROR_COUNT_MAX = 64

export class ScpiErrors {
  private isSilent = false

  constructor(
    private readonly link: LineLink,
    private readonly patience: number,
  ) {}

  /** Known once it was asked. */
  get isThere(): boolean {
    return !this.isSilent
  }

  /** The oldest complaint, the rest thrown away; null when there is none. */
  async first(signal: AbortSignal): Promise<string | null> {
    const error = await this.next(signal)
    if (error !== null) await this.empty(signal)
    return error
  }

  /** @throws StopError when it does not come to an end */
  async empty(signal: AbortSignal): Promise<void> {
    for (let count = 0; count < ERROR_COUNT_MAX; count++) {
      if ((await this.next(signal)) === null) return
    }
    throw new StopError(
      `the meter still has errors to tell after ${ERROR_COUNT_MAX} of them`,
      this.link.where,
      'Switch it off and on, and check that it speaks SCPI.',
      'instrument',
    )
  }

  private async next(signal: AbortSignal): Promise<string | null> {
    // A line that is no complaint belongs to something else, and the answer may still come.
    const answer = this.isSilent
      ? null
      : await this.link.next(`${QUESTION}\n`, codeOf, this.patience * TIMEOUT_S, signal)
    if (answer === null) {
      this.isSilent = true
      return null
    }
    return answer.code === 0 ? null : answer.says
  }
}

function codeOf(line: string): { code: number; says: string } | undefined {
  const match = /^([+-]?\d+)\s*(,|$)/.exec(line)
  return match ? { code: Number(match[1]), says: line } : undefined
}
