import { execFileSync, spawnSync } from 'node:child_process'
import { cpSync, existsSync, lstatSync, mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, expect, test } from 'vitest'
import { isLong } from '../long.js'
import { binOf } from './bin.js'

/** What a bare machine has besides Node: a shell and the small commands that scripts lean on. */
const COMMANDS = [
  ...['node', 'npm', 'npx', 'sh', 'env', 'uname', 'dirname', 'basename', 'readlink'],
  ...['cat', 'chmod', 'cp', 'ln', 'ls', 'mkdir', 'mv', 'pwd', 'rm', 'sed', 'tr'],
]
/** What it has not. */
const ABSENT = ['cc', 'gcc', 'g++', 'c++', 'clang', 'clang++', 'make', 'cmake', 'python', 'python3', 'node-gyp']

const root = mkdtempSync(join(tmpdir(), 'no-compiler-'))
const clone = join(root, 'clone')
const bin = binOf(join(root, 'bin'), COMMANDS)
afterAll(() => rmSync(root, { recursive: true }))

// What npm and vitest set for their own children would lead the inner npm back to this folder.
const kept = Object.entries(process.env).filter(
  ([name]) => !/^(?:npm_(?!config_(?:registry|cache)$)|VITEST|NODE_ENV$|NODE_OPTIONS$|CI$|CC$|CXX$|PYTHON)/i.test(name),
)
const env = { ...Object.fromEntries(kept), PATH: bin }

function run(command: string, ...args: string[]): { status: number | null; says: string } {
  const { status, stdout, stderr } = spawnSync(join(bin, command), args, { cwd: clone, env, encoding: 'utf8' })
  return { status, says: `${stdout}${stderr}` }
}
const evaluate = (code: string) => run('node', '--input-type=module', '-e', code)

async function isRegistryThere(): Promise<boolean> {
  const registry = execFileSync('npm', ['config', 'get', 'registry'], { encoding: 'utf8' }).trim()
  try {
    return (await fetch(registry, { method: 'HEAD', signal: AbortSignal.timeout(10_000) })).ok
  } catch {
    return false
  }
}

beforeAll(async () => {
  const list = ['ls-files', '-z', '--cached', '--others', '--exclude-standard']
  const files = execFileSync('git', list, { encoding: 'utf8' }).split('\0')
  // A link is never copied: npm ci would empty the folder that it leads to, as a linked node_modules.
  for (const file of files) {
    if (lstatSync(file, { throwIfNoEntry: false })?.isFile()) cpSync(file, join(clone, file))
  }
  if (existsSync(join(clone, 'node_modules'))) throw new Error(`${clone} has packages before any were installed`)
})

test('a fresh copy installs, loads its native parts and, in a long run, builds with no compiler and no Python on the PATH', async (context) => {
  // In CI a registry that does not answer is a failure, told by npm ci itself.
  if (!process.env['CI'] && !(await isRegistryThere())) context.skip('the package registry does not answer')
  for (const command of ABSENT)
    expect([command, run('sh', '-c', `command -v ${command}`).status]).not.toEqual([command, 0])

  // What is needed to run has the native part of the serial port; the tools of development are the long run's.
  const installed = run('npm', 'ci', ...(isLong ? [] : ['--omit=dev']))
  expect(installed.says).toMatch(/^added \d+ packages/m)
  expect(installed.status).toBe(0)

  // Opening a port goes through the native binding; its own words come back.
  const serial = evaluate(`
    import { SerialPort } from 'serialport'
    import '@serialport/parser-readline'
    new SerialPort({ path: '/dev/no-such-port', baudRate: 9600 }, (error) => console.log(error.message))`)
  expect(serial.says.trim()).toBe('Error: No such file or directory, cannot open /dev/no-such-port')

  // Closed form: a constant source of 1 renders as ones.
  const audio = evaluate(`
    import { OfflineAudioContext } from 'web-audio-api'
    const context = new OfflineAudioContext(1, 128, 48000)
    const source = context.createConstantSource()
    source.connect(context.destination)
    source.start()
    const samples = (await context.startRendering()).getChannelData(0)
    console.log(samples.length, samples.every((sample) => sample === 1))
    process.exit()`)
  expect(audio.says.trim()).toBe('128 true')

  // Closed form: the transform of ones is their count in bin 0 and nothing elsewhere.
  const transform = evaluate(`
    import FFT from 'fft.js'
    const out = new Array(16)
    new FFT(8).realTransform(out, new Array(8).fill(1))
    console.log(out.slice(0, 10).join(' '))`)
  expect(transform.says.trim()).toBe('8 0 0 0 0 0 0 0 0 0')

  if (!isLong) return
  const built = run('npm', 'run', 'build')
  expect([built.status, built.says]).toEqual([0, expect.stringContaining('tsc -p tsconfig.build.json')])
  expect(existsSync(join(clone, 'dist/units/stop.js'))).toBe(true)
}, 180_000)
