/**
 * Runs the operating system's audio tools and turns their ends into lines for the person at the bench.
 */
import { type ChildProcessByStdio, execFile, spawn } from 'node:child_process'
import type { Readable, Writable } from 'node:stream'
import { StopError } from '../units/stop.js'

export type Tool = ChildProcessByStdio<Writable, Readable, Readable>

/** Debian packages that the tools come in; macOS and Windows have only the last. */
const PACKAGES: Readonly<Record<string, string>> = {
  pactl: 'pulseaudio-utils',
  parec: 'pulseaudio-utils',
  pacat: 'pulseaudio-utils',
  arecord: 'alsa-utils',
  aplay: 'alsa-utils',
  amixer: 'alsa-utils',
  ffmpeg: 'ffmpeg',
}

/** Besides complaints the tools tell what they do. */
const COMPLAINT = /fail|error|refused|terminated|timed? ?out|no such|invalid|denied/i

/** How long a tool may take to end by itself. */
const STOP_MS = 1000

export interface Ending {
  readonly code: number | null
  readonly isMissing: boolean
  /** Last complaint of the tool, or an empty text. */
  readonly says: string
}

/**
 * Starts a tool that runs until it is stopped.
 *
 * @param onLine gets each line that the tool says about itself
 * @returns the process, and a promise of its end, which never rejects: all output has been read when it resolves
 */
export function startTool(
  name: string,
  args: readonly string[],
  onLine: (line: string) => void = () => {},
): { tool: Tool; ended: Promise<Ending> } {
  // Detached: Ctrl-C at the terminal is for this program, which then ends its tools in its own order. Should this program
  // be killed, they end by themselves, because nobody reads or feeds them any more.
  const env = { ...process.env, LC_ALL: 'C' }
  const tool = spawn(name, args, { stdio: ['pipe', 'pipe', 'pipe'], env, detached: true, windowsHide: true })
  let unfinished = ''
  let complaint = ''
  tool.stderr.setEncoding('utf8').on('data', (text: string) => {
    // A carriage return starts the running time anew; \x1b[K clears the rest of it.
    const lines = (unfinished + text).replaceAll('\x1b[K', '').split(/[\r\n]+/)
    unfinished = lines.pop() ?? ''
    for (const line of lines) {
      if (COMPLAINT.test(line)) complaint = line.trim()
      onLine(line)
    }
  })
  // Its end is told by 'close'; writing to a tool that has gone is no other news.
  tool.stdin.on('error', () => {})
  const ended = new Promise<Ending>((resolve) => {
    tool.on('error', (error: NodeJS.ErrnoException) => {
      resolve({ code: null, isMissing: error.code === 'ENOENT', says: error.message })
    })
    tool.on('close', (code) => resolve({ code, isMissing: false, says: complaint }))
  })
  return { tool, ended }
}

/**
 * Name of another device that the server moved a stream to, from a line of its tool; null for any other line.
 *
 * When a card goes away the server carries on with the next one, without an error.
 */
export function movedTo(line: string, device: string): string | null {
  const name = /Stream moved to device (\S+)/.exec(line)?.[1] ?? device
  return name === device ? null : name
}

/** Ends a tool politely, or by force when it does not listen; resolves when it has gone. */
export async function stopTool(tool: Tool, ended: Promise<Ending>): Promise<Ending> {
  tool.kill('SIGTERM')
  const timer = setTimeout(() => tool.kill('SIGKILL'), STOP_MS)
  const ending = await ended
  clearTimeout(timer)
  return ending
}

/**
 * Runs a tool to its end.
 *
 * @returns what it printed
 * @throws StopError when it is not installed, fails or takes longer than 5 s
 */
export async function runTool(
  name: string,
  args: readonly string[],
  where: string,
  signal: AbortSignal,
): Promise<string> {
  signal.throwIfAborted()
  const options = {
    env: { ...process.env, LC_ALL: 'C' },
    timeout: 5000,
    maxBuffer: 2 ** 24,
    // One of its own: where a tool is missing, Node leaves its listener on the signal.
    signal: AbortSignal.any([signal]),
  }
  return await new Promise<string>((resolve, reject) => {
    execFile(name, args, options, (error, stdout, stderr) => {
      if (error === null) resolve(stdout)
      else if (signal.aborted) reject(signal.reason)
      else if (error.code === 'ENOENT') reject(missingTool(name, where))
      else if (error.killed) reject(noServer(where, 'it does not answer within 5 s', error))
      else if (/connection (refused|failure|terminated)|no such (file|entity)/i.test(stderr)) {
        reject(noServer(where, lastLine(stderr), error))
      } else reject(failedTool(name, lastLine(stderr), where, error))
    })
  })
}

export const missingTool = (name: string, where: string): StopError =>
  new StopError(`the tool ${name} is not installed`, where, installWords(name), 'instrument')

/** How a tool gets onto this computer. */
export function installWords(name: string, system: NodeJS.Platform = process.platform): string {
  const packageName = PACKAGES[name] ?? name
  switch (system) {
    case 'darwin':
      return `Install ${packageName}, for instance by: brew install ${packageName}`
    case 'win32':
      return `Install ${packageName} and put its folder into the variable Path, then open a new terminal.`
    default:
      return `Install the Debian package ${packageName}: apt-get install ${packageName}`
  }
}

export const failedTool = (name: string, says: string, where: string, cause?: unknown): StopError =>
  new StopError(
    `${name} failed${says === '' ? '' : `: ${says}`}`,
    where,
    'Check that the sound server runs: pactl info',
    'instrument',
    { cause },
  )

const noServer = (where: string, says: string, cause: unknown): StopError =>
  new StopError(
    `no sound server: ${says}`,
    where,
    'Start PulseAudio or PipeWire as the user that runs this command, then try: pactl info',
    'instrument',
    { cause },
  )

const lastLine = (text: string): string => text.trim().split('\n').at(-1)?.trim() ?? ''
