/** The terminal while a run goes on: one line that tells how far it is, prompts, and what the terminal can show. */
import { createInterface } from 'node:readline/promises'
import { progressLine } from '../report/progress.js'
import type { OnProgress, Progress } from '../stages/progress.js'
import { StopError } from '../units/stop.js'

export class Screen {
  private readonly isLive = process.stderr.isTTY === true
  private lastStep = ''
  private isLineOpen = false

  readonly isColour = process.stdout.isTTY === true && !process.env['NO_COLOR'] && process.env['TERM'] !== 'dumb'
  readonly columnCount = process.stdout.columns ?? 80

  /** Rewrites one line in a terminal; elsewhere writes a line for each new step. */
  readonly progress: OnProgress = (progress: Progress) => {
    const line = progressLine(progress, { columnCount: process.stderr.columns ?? 80, isLive: this.isLive })
    if (this.isLive) {
      process.stderr.write(`\r\x1b[2K${line}`)
      this.isLineOpen = true
      return
    }
    const step = `${progress.step} ${progress.detail}`
    if (step !== this.lastStep) process.stderr.write(`${line}\n`)
    this.lastStep = step
  }

  clear(): void {
    if (this.isLineOpen) process.stderr.write('\r\x1b[2K')
    this.isLineOpen = false
  }

  /** A line that stays. */
  say(text: string): void {
    this.clear()
    process.stderr.write(`${text}\n`)
  }

  /** Asks a person to do something; resolves when they confirm. */
  async ask(prompt: string, isAttended: boolean, signal: AbortSignal): Promise<void> {
    if (!isAttended) {
      this.say(`${prompt} (taken as done)`)
      return
    }
    if (process.stdin.isTTY !== true) {
      throw new StopError(
        `a person is asked: "${prompt}"`,
        'no terminal to answer from',
        'Run it in a terminal, or add --yes if all is connected and set.',
        'instrument',
      )
    }
    this.clear()
    const lines = createInterface({ input: process.stdin, output: process.stderr })
    // Ctrl-C inside a prompt reaches the prompt only; hand it on.
    lines.on('SIGINT', () => process.kill(process.pid, 'SIGINT'))
    try {
      await lines.question(`${prompt}\nPress Enter when done. `, { signal })
    } finally {
      lines.close()
    }
  }
}
