/**
 * A sound server of our own, with null sinks for hardware: `radio` (2 channels, what the head unit is fed) and `outputs`
 * (12 channels, what the interface gives). Each has a monitor that can be captured: radio.monitor, outputs.monitor.
 *
 * Channels are named aux0, aux1, …: names of loudspeakers would make the server fold or drop some of them. Nothing of
 * the user's own sound server, settings or home is touched.
 */
import { execFile } from 'node:child_process'
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { promisify } from 'node:util'
import { type Running, run, until } from './processes.js'

export const LIVE_SAMPLE_RATE_HZ = 48_000
export const LIVE_OUTPUT_COUNT = 12

export interface PulseServer {
  /** Set these for every program that is to use this server. */
  readonly env: { readonly PULSE_SERVER: string; readonly HOME: string; readonly XDG_RUNTIME_DIR: string }
  /** A folder that goes away with the server. */
  readonly folder: string
  readonly process: Running
  /** Runs the server's own control tool. */
  control(...args: string[]): Promise<string>
  /** Safe to call twice; rejects with its last words where it had died before that, and not by SIGKILL as in a test. */
  stop(): Promise<void>
}

const auxMap = (count: number): string => Array.from({ length: count }, (_, c) => `aux${c}`).join(',')

/** s32le keeps every 24-bit sample. */
export const nullSink = (name: string, channelCount: number): string =>
  `module-null-sink sink_name=${name} format=s32le rate=${LIVE_SAMPLE_RATE_HZ} channels=${channelCount} channel_map=${auxMap(channelCount)}`

export async function startPulse(): Promise<PulseServer> {
  const folder = mkdtempSync(join(tmpdir(), 'linetrue-live-'))
  const env = {
    PULSE_SERVER: `unix:${join(folder, 'native')}`,
    HOME: join(folder, 'home'),
    XDG_RUNTIME_DIR: join(folder, 'run'),
  }
  mkdirSync(env.HOME)
  mkdirSync(env.XDG_RUNTIME_DIR, { mode: 0o700 })
  // The server itself must not see PULSE_SERVER: it would take it for a server that runs already.
  const { PULSE_SERVER: _server, ...others } = process.env
  const server = run(
    'pulseaudio',
    [
      '--daemonize=no',
      '--exit-idle-time=-1',
      // In real time the system kills a server that computes for 0.2 s at a stretch, as on a busy computer with many sinks.
      '--realtime=no',
      // Its shared memory loses count of its blocks when many streams come and go at once, and the server aborts:
      // "memblock.c: Assertion ... stat_remove(). Aborting." in three of four runs. Over the socket in none.
      '--disable-shm=yes',
      '-n',
      '-L',
      `module-native-protocol-unix auth-anonymous=1 socket=${join(folder, 'native')}`,
      '-L',
      nullSink('radio', 2),
      '-L',
      nullSink('outputs', LIVE_OUTPUT_COUNT),
    ],
    { env: { ...others, HOME: env.HOME, XDG_RUNTIME_DIR: env.XDG_RUNTIME_DIR } },
  )
  let isStopped = false
  const control = async (...args: string[]): Promise<string> =>
    (await promisify(execFile)('pactl', args, { env: { ...process.env, ...env, LC_ALL: 'C' } })).stdout
  const stop = async (): Promise<void> => {
    const { exitCode, signalCode } = server.process
    const hasDied = !isStopped && (exitCode !== null || (signalCode !== null && signalCode !== 'SIGKILL'))
    isStopped = true
    await server.stop()
    rmSync(folder, { recursive: true, force: true })
    if (hasDied) throw new Error(`pulseaudio died by itself: ${server.says().slice(-1500)}`)
  }
  const isUp = async (): Promise<boolean> => {
    const sources = await control('list', 'short', 'sources').catch(() => '')
    return sources.includes('outputs.monitor')
  }
  try {
    await until(isUp, 20, () => `pulseaudio says: ${server.says()}`)
  } catch (error) {
    await stop()
    throw error
  }
  return { env, folder, process: server, control, stop }
}
