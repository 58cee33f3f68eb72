import { execFile } from 'node:child_process'
import {
  chmodSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { dirname, join, resolve } from 'node:path'
import { afterEach, expect, test } from 'vitest'
import { some } from '../long.js'
import { binOf } from './bin.js'

const roots: string[] = []
afterEach(() => {
  for (const root of roots.splice(0)) rmSync(root, { recursive: true })
})

const COMMANDS = [
  ...['sox', 'ffmpeg', 'socat', 'pulseaudio', 'pactl', 'parec', 'arecord', 'aplay'],
  ...['chromium', 'pdftotext', 'tmux'],
]
const PASSING = "import { expect, test } from 'vitest'\ntest('adds', () => expect(1 + 1).toBe(2))\n"
const FAILING = "import { expect, test } from 'vitest'\ntest('adds wrongly', () => expect(1 + 1).toBe(3))\n"
const SKIPPING = "import { test } from 'vitest'\ntest('waits', (context) => context.skip('no hardware'))\n"
const BROKEN = "import './nowhere.js'\n"

interface Made {
  readonly files: Record<string, string>
  readonly build?: string
  readonly lint?: string
  readonly without?: readonly string[]
  readonly aptGet?: string
  readonly env?: Record<string, string>
}

/** Runs scripts/test.mjs in a made-up project, on a PATH where every tool is a stub but those it is to do without. */
function run(made: Made): Promise<{ status: number; out: string[]; err: string }> {
  const root = mkdtempSync(join(tmpdir(), 'test-script-'))
  roots.push(root)
  const bin = binOf(join(root, 'bin'), ['node', 'npm', 'bash', 'sh', 'env', 'touch', 'chmod'])
  const stub = (name: string, text: string): void => {
    writeFileSync(join(bin, name), `#!/bin/sh\n${text}\n`)
    chmodSync(join(bin, name), 0o755)
  }
  for (const command of COMMANDS) if (!made.without?.includes(command)) stub(command, '')
  if (made.aptGet) stub('apt-get', made.aptGet)
  const scripts = { build: made.build ?? 'echo built', lint: made.lint ?? 'echo linted' }
  const files = {
    'package.json': JSON.stringify({ type: 'module', scripts }),
    'test/vitest.config.ts': "export default { test: { include: ['test/**/*.test.ts'] } }\n",
    ...made.files,
  }
  for (const [path, text] of Object.entries(files)) {
    mkdirSync(dirname(join(root, path)), { recursive: true })
    writeFileSync(join(root, path), text)
  }
  symlinkSync(resolve('node_modules'), join(root, 'node_modules'))
  const args = [resolve('node_modules/zx/build/cli.js'), resolve('scripts/test.mjs')]
  const options = { cwd: root, env: { PATH: bin, HOME: root, BIN: bin, NO_COLOR: '1', ...made.env } }
  return new Promise((done) => {
    execFile(process.execPath, args, options, (error, out, err) => {
      done({ status: error ? Number(error.code) : 0, out: out.split('\n').filter(Boolean), err })
    })
  })
}

test('passing tests end with 0 and are counted in the last line, after build and lint', async () => {
  const { status, out } = await run({ files: { 'test/a.test.ts': PASSING, 'test/b.test.ts': PASSING } })
  expect(out.at(-1)).toBe('2 passed, 0 failed')
  expect(out.indexOf('built')).toBeLessThan(out.indexOf('linted'))
  expect(out.indexOf('built')).toBeGreaterThanOrEqual(0)
  expect(status).toBe(0)
})

test('a failing test and a file that breaks before its first test end with 1, and a skipped one is named', async () => {
  const [passing, skipping] = [{ 'test/a.test.ts': PASSING }, { 'test/d.test.ts': SKIPPING }]
  const files = { ...passing, 'test/b.test.ts': FAILING, 'test/c.test.ts': BROKEN, ...skipping }
  const { status, out } = await run({ files })
  expect(out.at(-1)).toBe('1 passed, 2 failed, 1 skipped')
  expect(out).toContain('npm test: skipped: test/d.test.ts: waits')
  expect(status).toBe(1)
})

test('a run that finds no test fails', async () => {
  const { status, out } = await run({ files: {} })
  expect(out.at(-1)).toBe('0 passed, 1 failed')
  expect(status).toBe(1)
})

test.each(some(['lint', 'build'], 1))('no test is run when %s fails', async (script) => {
  const { status, out } = await run({ files: { 'test/a.test.ts': PASSING }, [script]: 'exit 3' })
  expect(out.slice(-2)).toEqual([`npm test: npm run ${script} failed: no test was run`, '0 passed, 1 failed'])
  expect(status).toBe(1)
})

test('without a tool and without a way to install it, what is skipped is said and the tests run', async () => {
  const { status, out } = await run({ files: { 'test/a.test.ts': PASSING }, without: ['sox', 'parec'] })
  expect(out).toContain('npm test: without sox, skipped: levels, noise and filters held against sox')
  expect(out).toContain('npm test: without pulseaudio-utils, skipped: live runs')
  const remedy = out.find((line) => line.startsWith('npm test: Install them:'))
  expect(remedy).toMatch(/apt-get install --no-install-recommends .*\bsox .*pulseaudio-utils\b/)
  expect(out.at(-1)).toBe('1 passed, 0 failed')
  expect(status).toBe(0)
})

test('without a tool in CI nothing is run, and the run fails', async () => {
  const { status, out } = await run({ files: { 'test/a.test.ts': PASSING }, without: ['sox'], env: { CI: 'true' } })
  expect(out.at(-2)).toMatch(/^npm test: these tools are missing, and in CI nothing may be skipped .*: sox/)
  expect(out.at(-1)).toBe('0 passed, 1 failed')
  expect(status).toBe(1)
})

// Installing needs root on Debian; elsewhere the script must not try.
const mayInstall = process.getuid?.() === 0 && existsSync('/etc/debian_version')

test.runIf(mayInstall)('as root on Debian the missing tools are installed first', async () => {
  // Stands for the package manager: notes what it is asked, and puts a sox where there was none.
  const aptGet = 'echo "$@" >> "$BIN/asked"\ncase "$*" in *sox*) : > "$BIN/sox"; chmod 755 "$BIN/sox";; esac'
  const { status, out } = await run({ files: { 'test/a.test.ts': PASSING }, without: ['sox'], aptGet })
  expect(out[0]).toMatch(/^npm test: installing sox.* \(root on Debian\)$/)
  expect(out.filter((line) => line.includes('without sox'))).toEqual([])
  expect(out.at(-1)).toBe('1 passed, 0 failed')
  expect(status).toBe(0)
  const asked = readFileSync(join(roots[0], 'bin/asked'), 'utf8')
  expect(asked).toMatch(/^update --quiet=2\ninstall --yes --quiet=2 --no-install-recommends sox/)
})

test.runIf(mayInstall)('what the package manager says is shown when it fails', async () => {
  const aptGet = 'echo "no room on the disk" >&2; exit 100'
  const made = { files: { 'test/a.test.ts': PASSING }, without: ['sox'], aptGet, env: { CI: '1' } }
  const { status, err, out } = await run(made)
  expect(err).toContain('no room on the disk')
  expect(out.at(-1)).toBe('0 passed, 1 failed')
  expect(status).toBe(1)
})
