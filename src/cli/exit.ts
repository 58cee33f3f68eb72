/** How a command ends: its status, one clear line for what a person can mend, and a stop by Ctrl-C that lets go of everything. */
import { StopError } from '../units/stop.js'

export const EXIT = { pass: 0, fail: 1, unsure: 2, input: 3, instrument: 4 } as const

/** What a stop leaves of a command that makes no run. */
export const AS_IT_WAS = 'Sound is off, and no file was changed.'

/**
 * Runs a command and sets the exit status. The first Ctrl-C asks it to stop, a second one ends it at once.
 * A fault of this program is not caught: it prints its stack and ends with 70.
 */
export async function exitAfter(
  run: (signal: AbortSignal) => Promise<number>,
  afterStop = 'Sound is off. What was finished of a run is kept: give the same command again, without --fresh.',
): Promise<void> {
  const stopping = new AbortController()
  const onSignal = (name: NodeJS.Signals): void => {
    if (stopping.signal.aborted) process.exit(EXIT.instrument)
    const what = name === 'SIGINT' ? 'stopped by Ctrl-C' : 'stopped by the system'
    stopping.abort(new StopError(what, 'this run', afterStop, 'instrument'))
  }
  process.on('SIGINT', onSignal)
  process.on('SIGTERM', onSignal)
  // A reader that has seen enough (head, a closed pager) is no fault.
  process.stdout.on('error', (error: NodeJS.ErrnoException) => {
    if (error.code === 'EPIPE') process.exit()
    throw error
  })
  try {
    process.exitCode = await run(stopping.signal)
  } catch (error) {
    const stop = stopOf(error, stopping.signal)
    if (!stop) {
      process.exitCode = 70
      process.stderr.write(`linetrue: a fault in this program, please report it\n${(error as Error)?.stack ?? error}\n`)
    } else {
      process.exitCode = stop.kind === 'input' ? EXIT.input : EXIT.instrument
      process.stderr.write(`linetrue: ${stop.message}\n`)
    }
  } finally {
    process.off('SIGINT', onSignal)
    process.off('SIGTERM', onSignal)
  }
}

function stopOf(error: unknown, signal: AbortSignal): StopError | null {
  if (error instanceof StopError) return error
  // Whatever fell over because the run was stopped is not worth more words than the stop itself.
  return signal.aborted && signal.reason instanceof StopError ? signal.reason : null
}
