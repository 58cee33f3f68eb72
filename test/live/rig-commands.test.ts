/** linetrue rig devices, check and levels, live: a sound server, a vehicle between its sinks, a meter on a pty, a real terminal. */
import { type ChildProcess, execFile, spawn } from 'node:child_process'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join, resolve } from 'node:path'
import { promisify } from 'node:util'
import { afterAll, beforeAll, expect, test, vi } from 'vitest'
import { missingTools, needsTool, type Tool } from '../tools.js'
import { until } from './processes.js'
import { type LiveWorld, startLiveWorld } from './world.js'

const TOOLS: Tool[] = ['pulseaudio', 'parec', 'pacat', 'pactl', 'socat']
const COMMAND = resolve('dist/cli/main.js')
vi.setConfig({ testTimeout: 60_000 })

let folder: string
let world: LiveWorld
beforeAll(async () => {
  if (missingTools(...TOOLS).length > 0) return
  folder = mkdtempSync(join(tmpdir(), 'linetrue-rig-live-'))
  const [full, low] = [
    { noiseVrms: 1e-5, levelVrms: 2 },
    [0.5412, 1.3066].map((q) => ({ type: 'lowpass', freqHz: 80, q }) as const),
  ]
  world = await startLiveWorld({
    vehicle: {
      fullScaleVrms: 4,
      outputs: [
        { ...full, leftGain: 1, rightGain: 0 },
        { ...full, leftGain: 0, rightGain: 1 },
        { ...full, leftGain: 0.5, rightGain: 0.5, filters: low },
        { ...full, leftGain: 1, rightGain: 0, levelVrms: 0 },
      ],
    },
    meterAcrossOutput: 1,
  })
}, 60_000)
afterAll(async () => {
  await world?.stop()
  if (folder) rmSync(folder, { recursive: true, force: true })
})

function rigFile(inputCount: number, meterPort: string | null, device = 'outputs.monitor'): string {
  const path = join(folder, `rig-${inputCount}.yaml`)
  writeFileSync(
    path,
    `name: Live
capture: { driver: pulse, device: ${device} }
player: { driver: computer, device: radio }
${meterPort === null ? '' : `meter: { driver: scpi, port: ${meterPort}, accuracy_pct: 1, accuracy_vrms: 0.0005 }`}
inputs: { count: ${inputCount}, full_scale_vrms: 4, level_uncertainty_db: 0.1 }
`,
  )
  return path
}

interface Ended {
  readonly status: number | null
  readonly out: string
  readonly err: string
}
function start(
  args: readonly string[],
  env: Record<string, string> = world.env,
): { child: ChildProcess; ended: Promise<Ended> } {
  const child = spawn(process.execPath, [COMMAND, ...args], { env: { ...process.env, ...env } })
  let [out, err] = ['', '']
  child.stdout.on('data', (text) => {
    out += text
  })
  child.stderr.on('data', (text) => {
    err += text
  })
  const ended = new Promise<Ended>((done) => child.on('close', (status) => done({ status, out, err })))
  return { child, ended }
}
const run = (args: readonly string[], env?: Record<string, string>): Promise<Ended> => start(args, env).ended
const oneSpace = (text: string): string => text.replace(/\s+/g, ' ')

test('devices are listed as they go into the rig file', async (context) => {
  needsTool(context, ...TOOLS)
  const { status, out } = await run(['rig', 'devices'])
  expect(status).toBe(0)
  expect(out).toContain('  driver: pulse, device: outputs.monitor\n')
  expect(oneSpace(out)).toContain('12 channels, 48 kHz, repeats what the computer plays')
  expect(out).toContain('  driver: computer, device: radio\n')
})

test('a check tells which inputs hear which side, and the meter reads what the capture reads', async (context) => {
  needsTool(context, ...TOOLS)
  const args = ['rig', 'check', rigFile(3, world.meterPort), '--yes']
  const first = await run(args)
  // A busy computer is told as such, and is no fault of the command: it gets one more try.
  const isBusy =
    first.status !== 0 && (/too busy|samples were lost/.test(first.out + first.err) || world.glitches().length > 0)
  const { status, out, err } = isBusy ? await run(args) : first
  expect(err).toContain('Amplifiers stay unplugged or their gains down')
  expect(out).toMatch(/^PASS {4}All 3 inputs hear the player's quiet tones\.$/m)
  expect(out).toMatch(/^ {2}1 {2}ok .* left$/m)
  expect(out).toMatch(/^ {2}2 {2}ok .* right$/m)
  // A subwoofer's output hears the tones below its corner.
  expect(out).toMatch(/^ {2}3 {2}ok .* both$/m)
  // Truth: 2 V at full scale, 40 dB lower: 20 mV.
  expect(oneSpace(out)).toMatch(/reads AC volts, 20 mV at 997 Hz; the capture reads 20 mV/)
  expect(status).toBe(0)
})

test('a check names a silent input and a meter that is unplugged, both at once', async (context) => {
  needsTool(context, ...TOOLS)
  const { status, out } = await run(['rig', 'check', rigFile(4, join(folder, 'no-port')), '--yes'])
  expect(status).toBe(1)
  expect(out).toMatch(/^ {2}4 {2}SILENT .* nothing$/m)
  expect(oneSpace(out)).toContain('fail Input 4 stays at the floor')
  expect(oneSpace(out)).toMatch(/fail Meter: there is no such port \(.*no-port\)\. Plug the meter in/)
})

test('no server is one line and status 4', async (context) => {
  needsTool(context, ...TOOLS)
  const away = { ...world.env, PULSE_SERVER: `unix:${join(folder, 'nobody')}` }
  for (const command of ['check', 'levels']) {
    const { status, out, err } = await run(
      ['rig', command, rigFile(2, null), ...(command === 'check' ? ['--yes'] : [])],
      away,
    )
    expect([status, out]).toEqual([4, ''])
    expect(err).toMatch(/^linetrue: no sound server: .*pactl info$/m)
  }
  const { status, out } = await run(['rig', 'devices'], away)
  expect(status).toBe(0)
  expect(oneSpace(out)).toContain('Missing: no sound server')
})

test('levels show the tone, and Ctrl-C ends sound and command at once', async (context) => {
  needsTool(context, ...TOOLS)
  const { child, ended } = start(['rig', 'levels', rigFile(4, null), '--tone'])
  let out = ''
  child.stdout?.on('data', (text) => {
    out += text
  })
  const hasTone = (): boolean => /input 1: −46\.0 dBFS 20 mV {2}input 2: −46\.0 dBFS 20 mV/.test(out)
  await until(hasTone, 15, () => out)
  expect(await world.pulse.control('list', 'short', 'sink-inputs')).not.toBe('')
  child.kill('SIGINT')
  const { status } = await ended
  expect(status).toBe(0)
  // The vehicle itself records from radio and plays to outputs: what is left is its own.
  const left = await world.pulse.control('list', 'sink-inputs')
  expect(left).not.toContain('application.name = "linetrue"')
})

test('levels in a terminal follow its size, and give it back', async (context) => {
  needsTool(context, ...TOOLS, 'tmux')
  const socket = join(folder, 'tmux')
  const tmux = async (...args: string[]): Promise<string> =>
    (
      await promisify(execFile)('tmux', ['-S', socket, '-f', '/dev/null', ...args], {
        env: { ...process.env, ...world.env },
      })
    ).stdout
  const seen = (): Promise<string> => tmux('capture-pane', '-p')
  await tmux('new-session', '-d', '-x', '80', '-y', '24', 'sh')
  try {
    const path = rigFile(4, null)
    await tmux('send-keys', `clear; ${process.execPath} ${COMMAND} rig levels ${path}; echo ended $?`, 'Enter')
    let screen = ''
    const shows = (pattern: RegExp): Promise<void> =>
      until(
        async () => {
          screen = await seen()
          return pattern.test(screen)
        },
        15,
        () => screen,
      )
    await shows(/^ 4 \[ +\] /m)
    expect(screen).toMatch(/^Live · outputs\.monitor$/m)
    expect(screen).toMatch(/^q ends, r forgets peaks and CLIP · no tone$/m)
    await tmux('resize-window', '-x', '44', '-y', '24')
    await shows(/^ 4 \[ {6,20}\] /m)
    expect(Math.max(...screen.split('\n').map(({ length }) => length))).toBeLessThanOrEqual(44)
    await tmux('send-keys', 'q')
    await shows(/^ended 0$/m)
    // The last levels stay on the screen, and typing is shown again.
    expect(screen).toMatch(/^ 1 \[/m)
    await tmux('send-keys', 'stty -a | grep -o -- "-\\?icanon"', 'Enter')
    await shows(/^icanon$/m)
  } finally {
    await tmux('kill-server').catch(() => {})
  }
})
