/** A scripted multimeter behind a pseudo-terminal, which a serial port driver opens like any other port. */
import { closeSync, constants, existsSync, mkdtempSync, openSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { delimiter, dirname, join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { run, until } from './processes.js'

export type MeterAnswer =
  | string
  | { readonly silence: true }
  | { readonly unplug: true }
  /** Bytes as they are, without a line end. */
  | { readonly raw: string }
  | { readonly pieces: readonly string[]; readonly everyS: number }
  | { readonly afterS: number; readonly text: string }

export interface MeterScript {
  /** Default: LF. */
  readonly lineEnd?: string
  /** Answers to a question in turn; the last one repeats. */
  readonly answers?: Readonly<Record<string, readonly MeterAnswer[]>>
  /** MEAS:VOLT:AC? answers with the volts of this output from the vehicle's levels file. */
  readonly levels?: { readonly path: string; readonly outputNumber: number }
}

export interface PtyMeter {
  readonly port: string
  /** Questions so far. */
  asked(): string[]
  /** Takes the meter away while the port is open, as pulling its plug does. */
  unplug(): Promise<void>
  /** Safe to call twice. */
  stop(): Promise<void>
}

export async function startPtyMeter(script: MeterScript): Promise<PtyMeter> {
  const folder = mkdtempSync(join(tmpdir(), 'linetrue-meter-'))
  const port = join(folder, 'port')
  const socat = run('socat', [`PTY,link=${port},rawer`, 'EXEC:node meter-pty.mjs'], {
    cwd: dirname(fileURLToPath(import.meta.url)),
    env: {
      ...process.env,
      PATH: `${dirname(process.execPath)}${delimiter}${process.env['PATH']}`,
      METER: JSON.stringify(script),
    },
  })
  try {
    await until(
      () => existsSync(port),
      5,
      () => `socat says: ${socat.says()}`,
    )
  } catch (error) {
    await socat.stop()
    throw error
  }
  // Held open, so that one program closing the port is no hang-up for the next.
  let held: number | null = openSync(port, constants.O_RDWR | constants.O_NOCTTY | constants.O_NONBLOCK)
  const letGo = (): void => {
    if (held !== null) closeSync(held)
    held = null
  }
  return {
    port,
    asked: () => [...socat.says().matchAll(/^asked (.*)$/gm)].map((match) => match[1]),
    unplug: () => socat.stop(),
    async stop() {
      letGo()
      await socat.stop()
      rmSync(folder, { recursive: true, force: true })
    },
  }
}
