// biome-ignore-all lint/suspicious/noTemplateCurlyInString: the made-up files hold templates, as text.
import { execFile, execFileSync } from 'node:child_process'
import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { dirname, join } from 'node:path'
import { afterEach, expect, test } from 'vitest'

const roots: string[] = []
afterEach(() => {
  for (const root of roots.splice(0)) rmSync(root, { recursive: true })
})

/** A working tree of made-up files: path and text. */
function treeOf(files: Record<string, string>): string {
  const root = mkdtempSync(join(tmpdir(), 'check-tree-'))
  roots.push(root)
  execFileSync('git', ['init', '--quiet', root])
  for (const [path, text] of Object.entries(files)) {
    mkdirSync(dirname(join(root, path)), { recursive: true })
    writeFileSync(join(root, path), text)
  }
  return root
}

function check(root: string): Promise<{ status: number; out: string; findings: string[] }> {
  return new Promise((resolve) => {
    execFile('node_modules/.bin/zx', ['scripts/check-tree.mjs', root], (error, out, err) => {
      resolve({ status: error ? Number(error.code) : 0, out, findings: err.split('\n').filter(Boolean) })
    })
  })
}

const lines = (...text: string[]): string => `${text.join('\n')}\n`
const manifest = JSON.stringify({ dependencies: { 'fft.js': '4', zod: '4', serialport: '13' } })

test('a tree that keeps the rules passes, whatever its comments, strings, templates and patterns say', async () => {
  const root = treeOf({
    'README.md': '',
    'DEVELOPERS.md': '',
    LICENSE: '',
    'package.json': manifest,
    'package-lock.json': '{}',
    'tsconfig.json': '{}',
    'tsconfig.build.json': '{}',
    'biome.json': '{}',
    '.gitignore': 'dist/\n',
    'rigs/a.yaml': '',
    'captures/a/job.yaml': '',
    'scripts/a.mjs': '',
    'dist/index.js': '',
    'src/units/level.ts': lines('export const one = 1'),
    'src/dsp/tables/a.ts': lines("import { one } from '../../units/level.js'", 'export const two = one + one'),
    'src/dsp/fft.ts': lines(
      '/** Takes no Date, no process, and no Math.random. */',
      "import FFT from 'fft.js'",
      "import { two } from './tables/a.js' // see from 'node:fs'",
      'export const words = [\'process\', "Date", `performance ${two} Date`]',
      "export const letters = Array.from('node:fs')",
      "export const quote = /[/'\"`]/.test('it') ? 4 / two / 2 : 1 // Date",
      "export const text = `a ${words.map((word) => `${word} { process }`).join(' ')} process`",
      'export const record = { process: 1, performance: 2 }',
      'export const sum = record.process + record?.performance',
      'export default FFT',
    ),
    'src/instruments/port.ts': lines(
      "import { SerialPort } from 'serialport'",
      'export const now = [Date.now(), SerialPort]',
    ),
    'src/vehicle/model.ts': lines("import { two } from '../dsp/tables/a.js'", 'export const model = two'),
    'src/cli/main.ts': lines(
      "import { readFile } from 'node:fs/promises'",
      "import { now } from '../instruments/port.js'",
      "const { model } = await import('../vehicle/model.js')",
      'process.exitCode = [now, model, readFile].length',
    ),
    'test/dsp/fft.test.ts': lines("import 'node:fs'", 'Math.random()'),
  })
  expect(await check(root)).toEqual({
    status: 0,
    out: 'check-tree: 6 files of src, every import goes down, pure folders are pure\n',
    findings: [],
  })
})

test('each broken rule is told with file, line, rule and remedy', async () => {
  const root = treeOf({
    'package.json': manifest,
    'vitest.config.ts': '',
    'docs/a.md': '',
    'src/main.ts': '',
    'src/helpers/a.ts': '',
    'src/job/index.ts': '',
    'src/units/level.ts': lines(
      '// Two lines of comment',
      '// before the import.',
      "import type { X } from '../dsp/x.js'",
      'export type Y = X',
    ),
    'src/dsp/x.ts': lines(
      'import {',
      '  readFile,',
      "} from 'node:fs/promises'",
      "export type { Y } from '../units/level.js'",
      "export const z = async () => (await import('serialport')).SerialPort",
      'export const now = (soon: boolean) => (soon ? Date : performance).now()',
      'export const noise = () => Math.random()',
      "export const mark = `${process.cwd()} and ${crypto.randomUUID({ on: '}' })}`",
      'export const bytes = [...Buffer.alloc(4), readFile]',
      "import '../../scripts/a.mjs'",
    ),
    'src/wav/a.ts': lines("import '../dsp/x.js'"),
    'src/measure/a.ts': lines("import '../vehicle/model.js'", "import { b } from './deep/b.js'", 'export const a = b'),
    'src/measure/deep/b.ts': lines("import { c } from '../c.js'", 'export const b = c'),
    'src/measure/c.ts': lines("import type { a } from './a.js'", 'export type c = typeof a'),
    'src/stages/a.ts': lines("import '../instruments/port.js'", "import 'left-pad/lib/a.js'", "import '@scope/a/b'"),
    'src/report/a.ts': lines("import '../archive/a.js'"),
  })
  const { status, out, findings } = await check(root)
  expect(findings).toEqual([
    'docs:1: top level: this name has no place here; move it into src, test, scripts, rigs or captures',
    'src/dsp/x.ts:3: purity: dsp may not import node:fs/promises; do it in an impure folder and pass the value in',
    'src/dsp/x.ts:5: purity: dsp may not import serialport; wrap it in an impure folder, or add it to PURE_PACKAGES if it is pure',
    'src/dsp/x.ts:6: purity: dsp may not use Date; pass the time in',
    'src/dsp/x.ts:6: purity: dsp may not use performance; pass the time in',
    'src/dsp/x.ts:7: purity: dsp may not use Math.random; pass a seed in',
    'src/dsp/x.ts:8: purity: dsp may not use crypto; pass the seed or the digest in',
    'src/dsp/x.ts:8: purity: dsp may not use process; pass the value in',
    'src/dsp/x.ts:9: purity: dsp may not use Buffer; use Uint8Array and DataView',
    'src/dsp/x.ts:10: floors: scripts/a.mjs is outside src; move what is needed into src',
    'src/helpers/a.ts:1: floors: helpers is on no floor; move it into a folder of FLOORS',
    'src/job/index.ts:1: names: no index file; name it for what it holds, and import the defining file',
    'src/main.ts:1: floors: src itself is on no floor; move it into a folder of FLOORS',
    'src/measure/a.ts:1: benches: measure may not import src/vehicle/model.ts; take a role of rig/roles.ts as an argument',
    'src/measure/c.ts:1: circles: a.ts > deep/b.ts > c.ts > a.ts; move what they share into a file of its own',
    'src/report/a.ts:1: floors: report may not import src/archive/a.ts; move it to a lower floor, or pass the value in',
    'src/stages/a.ts:1: benches: stages may not import src/instruments/port.ts; take a role of rig/roles.ts as an argument',
    'src/stages/a.ts:2: packages: left-pad is not among dependencies; add it to package.json, or do without',
    'src/stages/a.ts:3: packages: @scope/a is not among dependencies; add it to package.json, or do without',
    'src/units/level.ts:3: floors: units may not import src/dsp/x.ts; move it to a lower floor, or pass the value in',
    'src/wav/a.ts:1: floors: wav may not import src/dsp/x.ts; move it to a lower floor, or pass the value in',
    'vitest.config.ts:1: top level: this name has no place here; move it into src, test, scripts, rigs or captures',
  ])
  expect(out).toBe('')
  expect(status).toBe(1)
})

test('a folder whose files git cannot list is refused with what git says', async () => {
  const root = mkdtempSync(join(tmpdir(), 'check-tree-'))
  roots.push(root)
  const { status, findings } = await check(root)
  expect(findings).toHaveLength(1)
  expect(findings[0]).toContain(`check-tree: git cannot list the files of ${root}: fatal: not a git repository`)
  expect(status).toBe(1)
})
