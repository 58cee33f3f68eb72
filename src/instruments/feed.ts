/**
 * Items out of a port's bytes, one question at a time: what came before the question, and what came without one, is gone.
 */
import type { BytePort } from './byte-port.js'
import { UnpluggedError } from './port-errors.js'
import { sleep } from './sleep.js'

/** Makes items of bytes: lines, frames. Holds no more than one item that has not ended. */
export interface Decoder<Item> {
  /** @returns the items that end with these bytes */
  push(bytes: Uint8Array): readonly Item[]
  /**
   * Lets go of what has come of the next item.
   * @param isAsked true: what comes now answers a question, and begins a new item; false: an item that has begun is left out
   */
  startOver(isAsked: boolean): void
}

/** What the system still held when the question came must arrive first, to be thrown away. */
const QUIET_S = 0.01

export class Feed<Item> {
  readonly where: string
  private isAsking = false
  private take: ((item: Item) => void) | null = null
  private fail: ((error: unknown) => void) | null = null

  constructor(
    private readonly port: BytePort,
    private readonly decoder: Decoder<Item>,
  ) {
    this.where = port.where
    port.onBytes = (bytes) => {
      for (const item of decoder.push(bytes)) this.take?.(item)
    }
    port.onLost = () => this.fail?.(new UnpluggedError(port.where))
  }

  /**
   * Asks and waits for the first item that accept makes something of.
   *
   * @param question sent as it is; null: nothing, the instrument sends by itself
   * @param accept gives undefined for an item that is passed over; what it throws ends the question
   * @returns null when nothing came within the time
   * @throws StopError when the instrument was unplugged
   */
  async next<Value>(
    question: string | null,
    accept: (item: Item) => Value | undefined,
    timeoutS: number,
    signal: AbortSignal,
  ): Promise<Value | null> {
    signal.throwIfAborted()
    if (this.isAsking) throw new RangeError('Feed.next: the last question is still open')
    this.isAsking = true
    try {
      await sleep(QUIET_S, signal)
      if (!this.port.isOpen) throw new UnpluggedError(this.where)
      this.decoder.startOver(question !== null)
      return await this.nextItem(question, accept, timeoutS, signal)
    } finally {
      this.isAsking = false
    }
  }

  private nextItem<Value>(
    question: string | null,
    accept: (item: Item) => Value | undefined,
    timeoutS: number,
    signal: AbortSignal,
  ): Promise<Value | null> {
    return new Promise<Value | null>((resolve, reject) => {
      const finish = (act: () => void): void => {
        this.take = null
        this.fail = null
        clearTimeout(timer)
        signal.removeEventListener('abort', onAbort)
        act()
      }
      const onAbort = (): void => finish(() => reject(signal.reason))
      const timer = setTimeout(() => finish(() => resolve(null)), 1000 * timeoutS)
      signal.addEventListener('abort', onAbort, { once: true })
      this.fail = (error) => finish(() => reject(error))
      this.take = (item) => {
        try {
          const value = accept(item)
          if (value !== undefined) finish(() => resolve(value))
        } catch (error) {
          finish(() => reject(error))
        }
      }
      if (question !== null) this.port.send(question).catch((error: unknown) => this.fail?.(error))
    })
  }

  /** Sends what has no answer. */
  async send(text: string, signal: AbortSignal): Promise<void> {
    signal.throwIfAborted()
    await this.port.send(text)
  }

  async close(): Promise<void> {
    this.port.onLost = null
    this.fail?.(new UnpluggedError(this.where))
    await this.port.close()
  }
}
