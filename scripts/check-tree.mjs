#!/usr/bin/env zx
// Checks what the folders promise: imports go down the floors and never round in a circle, pure folders stay pure, the
// top level holds only what belongs there. Run: npx zx scripts/check-tree.mjs [ROOT]
// Each finding is one line: file, line, rule, what to do. Ends with 1 if there is any.
import { $, argv, fs, path } from 'zx'
import { blank } from './blank.mjs'

const FLOORS = [
  ['units'],
  ['document', 'wav', 'dsp'],
  ['job', 'rig'],
  ['stimulus', 'instruments', 'vehicle'],
  ['measure'],
  ['verdict'],
  ['report'],
  ['archive'],
  ['stages'],
  ['cli', 'page'],
]
const TOP_FLOOR = FLOORS.at(-1)
/** Real and simulated benches: only the top floor may choose one. */
const BENCHES = ['instruments', 'vehicle']
const IMPURE = ['instruments', 'report', 'archive', 'stages', ...TOP_FLOOR]
const PURE_PACKAGES = [
  'd3-scale',
  'd3-shape',
  'fastest-levenshtein',
  'fft.js',
  'linear-sum-assignment',
  'web-audio-api',
  'yaml',
  'zod',
]
/** What pure code must not touch, and what it does instead. */
const IMPURE_NAMES = [
  [/\bMath\s*\.\s*random\b/g, 'pass a seed in'],
  [/\bcrypto\b/g, 'pass the seed or the digest in'],
  [/\b(?:Date|performance|setTimeout|setInterval|setImmediate)\b/g, 'pass the time in'],
  [/\b(?:process|globalThis)\b/g, 'pass the value in'],
  [/\bBuffer\b/g, 'use Uint8Array and DataView'],
]
const TOP_LEVEL =
  /^(?:README\.md|DEVELOPERS\.md|LICENSE|package(?:-lock)?\.json|src|rigs|scripts|captures|test|tsconfig(?:\.\w+)*\.json|biome\.jsonc?|\..+)$/

const root = path.resolve(argv._[0] ?? '.')
const findings = []
const complain = (file, line, rule, remedy) => findings.push({ file, line, rule, remedy })

const floorOf = (folder) => FLOORS.findIndex((floor) => floor.includes(folder))
/** 'dsp' for 'src/dsp/tables/x.ts'; a file in src itself has none. */
const folderOf = (file) => (/^src\/([^/]+)\//.exec(file) ?? [])[1] ?? null
const lineAt = (text, index) => text.slice(0, index).split('\n').length
const packageOf = (specifier) => specifier.split('/', specifier.startsWith('@') ? 2 : 1).join('/')

/** Every import and re-export of a text, by position; a name that only looks like one inside a string is not seen. */
function importsOf(text, code) {
  return [...code.matchAll(/\b(?:from|import|import\s*\()\s*(['"])( *)\1/g)].map((match) => {
    const end = match.index + match[0].length - 1
    return { specifier: text.slice(end - match[2].length, end), line: lineAt(text, match.index) }
  })
}

function checkPackage(file, line, folder, specifier, dependencies) {
  const name = packageOf(specifier)
  const isNode = specifier.startsWith('node:')
  if (!IMPURE.includes(folder) && !PURE_PACKAGES.includes(name)) {
    const remedy = isNode
      ? 'do it in an impure folder and pass the value in'
      : 'wrap it in an impure folder, or add it to PURE_PACKAGES if it is pure'
    complain(file, line, `purity: ${folder} may not import ${specifier}`, remedy)
  } else if (!isNode && !dependencies.includes(name)) {
    complain(file, line, `packages: ${name} is not among dependencies`, 'add it to package.json, or do without')
  }
}

function checkFloor(file, line, folder, target) {
  const to = folderOf(target)
  if (!target.startsWith('src/')) {
    complain(file, line, `floors: ${target} is outside src`, 'move what is needed into src')
  } else if (to !== folder && BENCHES.includes(to) && !TOP_FLOOR.includes(folder)) {
    complain(file, line, `benches: ${folder} may not import ${target}`, 'take a role of rig/roles.ts as an argument')
  } else if (to !== folder && floorOf(to) >= floorOf(folder)) {
    complain(file, line, `floors: ${folder} may not import ${target}`, 'move it to a lower floor, or pass the value in')
  }
}

function checkPurity(file, code) {
  for (const [pattern, remedy] of IMPURE_NAMES) {
    for (const { 0: name, index } of code.matchAll(pattern)) {
      const [before, after] = [code.slice(0, index).trimEnd(), code.slice(index + name.length)]
      // A member or a key of that name is the folder's own: x.process, { process: 1 }; a conditional's branch is not.
      const isMember = /(?:^|[^.])\.$|\?\.$/.test(before)
      const isKey = /^\s*\??:/.test(after) && !before.endsWith('?')
      if (isMember || isKey) continue
      complain(file, lineAt(code, index), `purity: ${folderOf(file)} may not use ${name.replace(/\s/g, '')}`, remedy)
    }
  }
}

/** Circles in a graph of files: each is told once, at the import that closes it. */
function checkCircles(graph) {
  const done = new Set()
  const visit = (file, trail) => {
    if (done.has(file)) return
    for (const { target, line } of graph.get(file) ?? []) {
      const start = [...trail, file].indexOf(target)
      if (start < 0) visit(target, [...trail, file])
      else {
        const circle = [...trail, file].slice(start)
        const names = [...circle, target].map((one) => path.posix.relative(`src/${folderOf(file)}`, one)).join(' > ')
        complain(file, line, `circles: ${names}`, 'move what they share into a file of its own')
      }
    }
    done.add(file)
  }
  for (const file of graph.keys()) visit(file, [])
}

const listed = await $({ cwd: root, nothrow: true, quiet: true })`git ls-files -z --cached --others --exclude-standard`
if (listed.exitCode !== 0) {
  console.error(`check-tree: git cannot list the files of ${root}: ${listed.stderr.trim()}`)
  process.exit(1)
}
const files = [...new Set(listed.stdout.split('\0'))]
  .filter((file) => file && fs.existsSync(path.join(root, file)))
  .sort()
const manifest = path.join(root, 'package.json')
const dependencies = fs.existsSync(manifest) ? Object.keys(fs.readJsonSync(manifest).dependencies ?? {}) : []

for (const name of new Set(files.map((file) => file.split('/')[0]))) {
  if (!TOP_LEVEL.test(name)) {
    complain(name, 1, 'top level: this name has no place here', 'move it into src, test, scripts, rigs or captures')
  }
}

const sources = files.filter((file) => /\.[cm]?[jt]sx?$/.test(file))
const graph = new Map()
for (const file of sources) {
  if (/^index\./.test(path.basename(file))) {
    complain(file, 1, 'names: no index file', 'name it for what it holds, and import the defining file')
  }
  if (!file.startsWith('src/')) continue
  const folder = folderOf(file)
  if (floorOf(folder) < 0) {
    complain(file, 1, `floors: ${folder ?? 'src itself'} is on no floor`, 'move it into a folder of FLOORS')
    continue
  }
  const text = fs.readFileSync(path.join(root, file), 'utf8')
  const code = blank(text)
  const edges = []
  for (const { specifier, line } of importsOf(text, code)) {
    if (!specifier.startsWith('.')) {
      checkPackage(file, line, folder, specifier, dependencies)
      continue
    }
    const target = path.posix.join(path.posix.dirname(file), specifier.replace(/\.js$/, '.ts'))
    checkFloor(file, line, folder, target)
    if (folderOf(target) === folder) edges.push({ target, line })
  }
  graph.set(file, edges)
  if (!IMPURE.includes(folder)) checkPurity(file, code)
}
checkCircles(graph)

findings.sort((a, b) => (a.file < b.file ? -1 : a.file > b.file ? 1 : a.line - b.line))
for (const { file, line, rule, remedy } of findings) console.error(`${file}:${line}: ${rule}; ${remedy}`)
if (findings.length > 0) process.exit(1)
console.log(`check-tree: ${graph.size} files of src, every import goes down, pure folders are pure`)
