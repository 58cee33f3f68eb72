#!/usr/bin/env zx
// Builds, lints and runs the tests, in this order, and stops at the first that fails. Run: npm test
// For some files only: npm test -- test/dsp. The last line says how many tests passed, failed and were skipped.
// Some tests hold linetrue against the system's own tools. Where it runs as root on Debian it installs the missing ones;
// elsewhere it says what is skipped, but in CI nothing may be skipped for want of a tool.
import { $, fs, glob, os, path, which } from 'zx'

const PULSE_PLUGIN = '/usr/lib/*/alsa-lib/libasound_module_pcm_pulse.so'
/** Debian package, how to see that it is there, and the tests that need it. */
const TOOLS = [
  { package: 'sox', commands: ['sox'], tests: 'levels, noise and filters held against sox' },
  { package: 'ffmpeg', commands: ['ffmpeg'], tests: 'codecs, filters and levels held against ffmpeg' },
  { package: 'socat', commands: ['socat'], tests: 'a meter on a serial line' },
  { package: 'pulseaudio', commands: ['pulseaudio'], tests: 'live runs' },
  { package: 'pulseaudio-utils', commands: ['pactl', 'parec'], tests: 'live runs' },
  { package: 'alsa-utils', commands: ['arecord', 'aplay'], tests: 'live runs' },
  { package: 'libasound2-plugins', isThere: async () => (await glob(PULSE_PLUGIN)).length > 0, tests: 'live runs' },
  { package: 'chromium', commands: ['chromium'], tests: 'the report in a browser' },
  {
    package: 'python3-scipy',
    isThere: async () => (await quietly`/usr/bin/python3 -c ${'import scipy'}`).exitCode === 0,
    tests: 'sine fit, response and THD held against scipy',
  },
  { package: 'poppler-utils', commands: ['pdftotext', 'pdffonts', 'pdfimages'], tests: 'the printed report' },
  { package: 'qpdf', commands: ['qpdf'], tests: 'the PDF of the report' },
  { package: 'tmux', commands: ['tmux'], tests: 'the terminal view' },
]

const quietly = $({ nothrow: true, quiet: true })
const isCi = Boolean(process.env.CI)
const say = (text) => console.log(`npm test: ${text}`)

async function isThere(tool) {
  if (tool.isThere) return tool.isThere()
  const found = await Promise.all(tool.commands.map((command) => which(command, { nothrow: true })))
  return found.every(Boolean)
}

async function missingTools() {
  const present = await Promise.all(TOOLS.map(isThere))
  return TOOLS.filter((_, i) => !present[i])
}

const namesOf = (tools) => tools.map((tool) => tool.package).join(' ')

/** Installs Debian packages; returns what the package manager said when it could not. */
async function install(tools) {
  say(`installing ${namesOf(tools)} (root on Debian)`)
  const apt = quietly({ env: { ...process.env, DEBIAN_FRONTEND: 'noninteractive' } })
  const updated = await apt`apt-get update --quiet=2`
  const installed =
    await apt`apt-get install --yes --quiet=2 --no-install-recommends ${tools.map((tool) => tool.package)}`
  return installed.exitCode === 0 ? '' : `${updated.stderr}${installed.stderr}`.trim()
}

async function prepareTools() {
  let missing = await missingTools()
  if (missing.length === 0) return
  const mayInstall =
    process.getuid?.() === 0 && fs.existsSync('/etc/debian_version') && (await which('apt-get', { nothrow: true }))
  const trouble = mayInstall ? await install(missing) : ''
  if (mayInstall) missing = await missingTools()
  if (missing.length === 0) return
  if (trouble) console.error(trouble)
  const remedy = `Install them: apt-get install --no-install-recommends ${namesOf(missing)}`
  if (isCi) {
    say(`these tools are missing, and in CI nothing may be skipped for want of a tool: ${namesOf(missing)}. ${remedy}`)
    end(0, 1, 0)
  }
  for (const tool of missing) say(`without ${tool.package}, skipped: ${tool.tests}`)
  say(remedy)
}

function end(passedCount, failedCount, skippedCount) {
  console.log(`${passedCount} passed, ${failedCount} failed${skippedCount > 0 ? `, ${skippedCount} skipped` : ''}`)
  process.exit(failedCount > 0 ? 1 : 0)
}

/** A step that has to succeed before tests mean anything. */
async function step(script) {
  const { exitCode } = await $({ nothrow: true, stdio: 'inherit' })`npm run --silent ${script}`
  if (exitCode === 0) return
  say(`npm run ${script} failed: no test was run`)
  end(0, 1, 0)
}

async function runTests(args) {
  const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'linetrue-test-'))
  const report = path.join(folder, 'result.json')
  const { exitCode } = await $({
    nothrow: true,
    stdio: 'inherit',
    preferLocal: true,
  })`vitest run --config test/vitest.config.ts --reporter=default --reporter=json --outputFile.json=${report} ${args}`
  const files = fs.existsSync(report) ? fs.readJsonSync(report).testResults : []
  fs.removeSync(folder)
  return { exitCode, files }
}

await prepareTools()
await step('build')
await step('lint')
const { exitCode, files } = await runTests(process.argv.slice(3))

const tests = files.flatMap((file) => file.assertionResults.map((one) => ({ ...one, file: file.name })))
const count = (...statuses) => tests.filter((one) => statuses.includes(one.status)).length
for (const one of tests) {
  if (one.status !== 'passed' && one.status !== 'failed') {
    say(`skipped: ${path.relative('.', one.file)}: ${one.fullName.trim()}`)
  }
}
// A file that broke before its first test has none to count, and yet it failed.
const brokenFileCount = files.filter(
  (file) => file.status === 'failed' && !file.assertionResults.some((one) => one.status === 'failed'),
).length
const failedCount = count('failed') + brokenFileCount
if (exitCode !== 0 && failedCount === 0) say('vitest failed outside any test: see above')
end(count('passed'), Math.max(failedCount, exitCode === 0 ? 0 : 1), tests.length - count('passed', 'failed'))
