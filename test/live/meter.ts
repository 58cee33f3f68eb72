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
  /** Sent without being asked, in turn and over again. */
  readonly prints?: { readonly items: readonly MeterAnswer[]; readonly everyS: number }
}

export interface PtyMeter {
  readonly port: string
  /** Questions so far. */
  asked(): string[]
  /** Takes the meter away while the port is open, as pulling its plug does. */
  unplug(): Promise<void>
  /** Puts a meter, the same by default, back on this port or on another one. */
  replug(script?: MeterScript, port?: string): Promise<void>
  /** Safe to call twice. */
  stop(): Promise<void>
}

export async function startPtyMeter(script: MeterScript): Promise<PtyMeter> {
  const folder = mkdtempSync(join(tmpdir(), 'linetrue-meter-'))
  let plugged = await plug(script, join(folder, 'port'))
  let said = ''
  const unplug = async (): Promise<void> => {
    await plugged.stop()
    said += plugged.says()
  }
  return {
    port: join(folder, 'port'),
    asked: () => [...(said + plugged.says()).matchAll(/^asked (.*)$/gm)].map((match) => match[1]),
    unplug,
    async replug(next = script, port = join(folder, 'port')) {
      plugged = await plug(next, port)
    },
    async stop() {
      await unplug()
      rmSync(folder, { recursive: true, force: true })
    },
  }
}

interface Plugged {
  says(): string
  stop(): Promise<void>
}

async function plug(script: MeterScript, port: string): Promise<Plugged> {
  rmSync(port, { force: true })
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
      () => existsSync(port) && socat.says().includes('ready'),
      10,
      () => `socat says: ${socat.says()}`,
    )
  } catch (error) {
    await socat.stop()
    throw error
  }
  // Held open, so that one program closing the port is no hang-up for the next.
  let held: number | null = openSync(port, constants.O_RDWR | constants.O_NOCTTY | constants.O_NONBLOCK)
  return {
    says: () => socat.says(),
    async stop() {
      if (held !== null) closeSync(held)
      held = null
      await socat.stop()
    },
  }
}
