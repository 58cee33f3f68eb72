/** linetrue rig levels RIG: live levels of all inputs while leads are being moved; one line a second where nobody watches. */
import { HeldLevels } from '../measure/held-levels.js'
import { levelLine, levelScreen } from '../report/level-bars.js'
import { isStartedByHand } from '../rig/rig.js'
import type { Bench } from '../rig/roles.js'
import { LEVELS_TONE, watchLevels } from '../stages/rig-levels.js'
import { StopError } from '../units/stop.js'
import { plain } from '../units/words.js'
import { EXIT } from './exit.js'
import { hearKeys, type Keys } from './keys.js'
import { loadRigWithCard, openBenchOf } from './rig-open.js'

export interface LevelsOptions {
  readonly rigPath: string
  readonly tone?: boolean
  /** Seconds, as written. */
  readonly for?: string
}

const LIVE_EVERY_S = 0.1
const PIPE_EVERY_S = 1
const LENGTH_S_MAX = 86_400
const [ENTER_SCREEN, LEAVE_SCREEN] = ['\x1b[?1049h\x1b[?25l', '\x1b[?25h\x1b[?1049l']
const [HOME, REST_OF_LINE, REST_OF_SCREEN] = ['\x1b[H', '\x1b[K', '\x1b[J']

export async function rigLevelsCommand(options: LevelsOptions, signal: AbortSignal): Promise<number> {
  const lengthS = options.for === undefined ? null : secondsOf(options.for)
  const rig = await loadRigWithCard(options.rigPath)
  const hasTone = options.tone === true
  const { inputs, player, name } = rig.value
  if (hasTone && rig.value.capture.driver !== 'simulated' && isStartedByHand(player)) {
    throw new StopError(
      'this rig has no player of its own, so there is no tone',
      '--tone',
      'Leave --tone out and start the track on the head unit by hand.',
    )
  }
  // Nothing is asked for here, and a meter that is not plugged in is no reason to see no levels.
  const noAsk = async (): Promise<void> => {}
  const bench = await openBenchOf({ ...rig, value: { ...rig.value, meter: null } }, noAsk, () => {}, signal)
  const levels = new HeldLevels(inputs.length)
  const ending = new AbortController()
  const isLive = process.stdout.isTTY === true
  // There is no other end to it than this one: Ctrl-C is as good as q.
  const onStop = (): void => ending.abort()
  signal.addEventListener('abort', onStop, { once: true })
  const view = isLive ? new LevelView(titleOf(name, bench), footOf(hasTone, player.device)) : null
  let keys: Keys | null = null
  try {
    keys = hearKeys((key) => {
      if (key === 'q' || key === 'Q') ending.abort()
      if (key === 'r' || key === 'R') levels.reset()
    })
    view?.open()
    await watchLevels(
      bench,
      { hasTone, lengthS, everyS: isLive ? LIVE_EVERY_S : PIPE_EVERY_S },
      (block) => levels.add(block),
      (elapsedS) => {
        const shown = levels.read(elapsedS)
        if (view) view.show((columnCount, rowCount) => levelScreen(shown, inputs, { ...view, columnCount, rowCount }))
        else {
          process.stdout.write(`${levelLine(shown, inputs, elapsedS)}\n`)
          // On a pipe a line tells of its own second.
          levels.reset()
        }
      },
      ending.signal,
      new AbortController().signal,
    )
    return EXIT.pass
  } finally {
    signal.removeEventListener('abort', onStop)
    keys?.close()
    view?.close()
    await bench.close()
  }
}

/** Draws into the terminal's second screen, so that the first one is as before when it is over. */
class LevelView {
  private last: readonly string[] = []
  private isOpen = false
  private readonly giveBack = (): void => {
    process.stdout.write(LEAVE_SCREEN)
  }

  constructor(
    readonly title: string,
    readonly foot: string,
  ) {}

  open(): void {
    this.isOpen = true
    process.stdout.write(ENTER_SCREEN)
    process.once('exit', this.giveBack)
  }

  show(draw: (columnCount: number, rowCount: number) => string[]): void {
    this.last = draw(process.stdout.columns ?? 80, process.stdout.rows ?? 24)
    const picture = this.last.map((line) => `${line}${REST_OF_LINE}`).join('\r\n')
    process.stdout.write(`${HOME}${picture}${REST_OF_SCREEN}`)
  }

  /** Leaves the last levels on the first screen. */
  close(): void {
    if (!this.isOpen) return
    this.isOpen = false
    process.off('exit', this.giveBack)
    this.giveBack()
    const levels = this.last.slice(0, -1)
    if (levels.length > 0) process.stdout.write(`${levels.join('\n')}\n`)
  }
}

const titleOf = (rigName: string, { capture, isSimulated }: Bench): string =>
  isSimulated ? `${rigName} · SIMULATED: a model, no card` : `${rigName} · ${capture.where}`

function footOf(hasTone: boolean, device: string | null): string {
  const keys = process.stdin.isTTY === true ? 'q ends, r forgets peaks and CLIP' : 'Ctrl-C ends'
  const level = `${LEVELS_TONE.freqHz} Hz at ${plain(LEVELS_TONE.levelDbfs, 0)} dBFS`
  return hasTone ? `${keys} · tone on: ${level}${device === null ? '' : `, ${device}`}` : `${keys} · no tone`
}

function secondsOf(text: string): number {
  const value = Number(text)
  if (text.trim() !== '' && value > 0 && value <= LENGTH_S_MAX) return value
  throw new StopError(`"${text}" is no length of time`, '--for', `Allowed: seconds, more than 0 up to ${LENGTH_S_MAX}.`)
}
