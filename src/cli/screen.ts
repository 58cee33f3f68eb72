/** The terminal while a run goes on: one line that tells how far it is, prompts, and what the terminal can show. */
import { createInterface } from 'node:readline/promises'
import { progressLine } from '../report/progress.js'
import { widthOf, wrapped } from '../report/text.js'
import type { Person } from '../stages/hook-up.js'
import type { OnProgress, Progress } from '../stages/progress.js'
import { StopError } from '../units/stop.js'

export class Screen {
  private readonly isLive = process.stderr.isTTY === true
  private last = { step: '', key: '' }
  private isLineOpen = false
  /** The last line of a prompt that waits for an answer. */
  private waiting = ''

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
    const { step, detail, doneS } = progress
    const key = `${step} ${detail}`
    // A step that is under way and only tells how far it is has its line already.
    const isUnderWay = doneS !== null && doneS > 0 && step === this.last.step
    if (key !== this.last.key && !isUnderWay) process.stderr.write(`${line}\n`)
    this.last = { step, key: isUnderWay ? this.last.key : key }
  }

  clear(): void {
    if (this.isLineOpen) process.stderr.write('\r\x1b[2K')
    this.isLineOpen = false
  }

  /** Lines that are longer than the terminal is wide, wrapped between words; on a pipe each stays as it is. */
  private fitted(text: string): string {
    if (!this.isLive) return text
    const columnCount = process.stderr.columns ?? 80
    const fit = (line: string): string[] => (widthOf(line) > columnCount ? wrapped(line, columnCount) : [line])
    return text.split('\n').flatMap(fit).join('\n')
  }

  /** A line that stays. */
  say(text: string): void {
    this.clear()
    if (this.waiting === '') process.stderr.write(`${this.fitted(text)}\n`)
    else process.stderr.write(`\r\x1b[2K${this.fitted(text)}\n${this.waiting}`)
  }

  /** Asks a person to do something; resolves when they confirm. */
  async ask(prompt: string, isAttended: boolean, signal: AbortSignal): Promise<void> {
    if (isAttended) await this.answerTo(prompt, 'Press Enter when done. ', signal)
    else this.say(`${prompt} (taken as done)`)
  }

  /** Who sits at the bench, as the stages know them. */
  person(isAttended: boolean): Person {
    return {
      isAttended,
      say: (text) => this.say(text),
      choose: async (prompt, letters, signal) => {
        for (;;) {
          const answer = await this.answerTo(prompt, '> ', signal)
          if (letters.includes(answer)) return answer
          const known = letters.filter((letter) => letter !== '')
          this.say(`"${answer}" is not one of the answers: ${['Enter alone', ...known].join(', ')}.`)
        }
      },
    }
  }

  /** A line that a person types, trimmed; the last line of the prompt stands before it. */
  async typed(prompt: string, signal: AbortSignal): Promise<string> {
    const at = prompt.lastIndexOf('\n')
    return this.lineAfter(prompt.slice(0, Math.max(0, at)), prompt.slice(at + 1), signal)
  }

  private async answerTo(prompt: string, lastLine: string, signal: AbortSignal): Promise<string> {
    return (await this.lineAfter(prompt, lastLine, signal)).toLowerCase()
  }

  private async lineAfter(prompt: string, lastLine: string, signal: AbortSignal): Promise<string> {
    if (process.stdin.isTTY !== true) {
      throw new StopError(
        `a person is asked: "${prompt}"`,
        'no terminal to answer from',
        'Run it in a terminal, or add --yes if all is connected and set.',
        'instrument',
      )
    }
    await dropTyped()
    this.clear()
    const lines = createInterface({ input: process.stdin, output: process.stderr })
    // Ctrl-C inside a prompt reaches the prompt only; hand it on.
    lines.on('SIGINT', () => process.kill(process.pid, 'SIGINT'))
    this.waiting = lastLine
    try {
      return (await lines.question(`${this.fitted(prompt)}\n${lastLine}`, { signal })).trim()
    } catch (error) {
      process.stderr.write('\r\x1b[2K')
      throw error
    } finally {
      this.waiting = ''
      lines.close()
    }
  }
}

/** What was typed while nothing was asked is no answer to what is asked now. */
async function dropTyped(): Promise<void> {
  const drop = (): void => {}
  process.stdin.on('data', drop)
  await new Promise((resolve) => setTimeout(resolve, 20))
  process.stdin.off('data', drop)
}
