#!/usr/bin/env zx
// Times the archive. Run: npm run build && npx zx scripts/bench-archive.mjs
//
// Makes an archive of synthetic runs (small results: curves are left out), then times, each in a fresh process: making the
// index anew, bringing it up to date when nothing and when one run is new, and finding. The largest memory of each is said.
// Goal for 100,000 runs: find in under 0.2 s, 2,000 runs/s, memory flat.
//
//   --runs N       runs (100000)
//   --retests N    runs of each vehicle (4)
//   --folder PATH  where the archive is made, and kept; default: a new one that is removed afterwards
import { createHash } from 'node:crypto'
import { $, argv, fs, os, path } from 'zx'

const dist = (file) => new URL(`../dist/${file}`, import.meta.url).href
const SELF = import.meta.filename ?? 'scripts/bench-archive.mjs'
const QUERIES = {
  'by the end of a VIN': { vin: '0000012345' },
  'by the end of a plate': { plate: '4242' },
  'by job number': { jobNumber: 'J-4242' },
  'by day': { from: '2023-03-01', to: '2023-03-01' },
  'by finding and platform': { finding: 'inverted', platform: 'quillon 3' },
  'by technician, failed': { technician: 'tamsin', verdict: 'fail' },
  'by free words': { words: 'velmora rear inverted' },
  'nothing at all': { words: 'nowhere' },
  everything: {},
}

if (argv.measure) await measure(argv.measure, String(argv.folder))
else await compare()

async function measure(what, folder) {
  const { openIndex } = await import(dist('archive/index-file.js'))
  const { findRuns } = await import(dist('archive/find.js'))
  const startMs = performance.now()
  const index = await openIndex(folder, { isNew: what === 'anew' })
  const openMs = performance.now() - startMs
  const finds = {}
  for (const [says, query] of Object.entries(QUERIES)) {
    if (what === 'anew') break
    const beforeMs = performance.now()
    const count = findRuns(index.db, query, 50).length
    finds[says] = { ms: performance.now() - beforeMs, count }
  }
  const integrity = what === 'anew' ? Object.values(index.db.get('PRAGMA integrity_check'))[0] : null
  await index.close()
  const peakMb = process.resourceUsage().maxRSS / 1024
  console.log(JSON.stringify({ openMs, readCount: index.readCount, says: index.says, finds, integrity, peakMb }))
}

async function compare() {
  const [runCount, retestCount] = [Number(argv.runs ?? 100_000), Number(argv.retests ?? 4)]
  const folder = path.resolve(argv.folder ?? (await fs.mkdtemp(path.join(os.tmpdir(), 'linetrue-archive-'))))
  process.env['LINETRUE_CACHE'] ??= `${folder}-cache`
  console.log(
    `${os.cpus().length} × ${os.cpus()[0].model.trim()}, node ${process.version}, ${os.platform()} ${os.arch()}`,
  )
  const startMs = performance.now()
  const byteCount = await make(folder, runCount, retestCount)
  console.log(
    `${runCount} runs of ${Math.ceil(runCount / retestCount)} vehicles, ${(byteCount / runCount / 1000).toFixed(1)} kB each, made in ${inS(performance.now() - startMs)}`,
  )
  try {
    for (const share of [0.1, 1]) {
      // A tenth of it beside the whole tells whether memory grows with the archive.
      const part = share === 1 ? folder : path.join(folder, 'a')
      const { openMs, readCount, integrity, peakMb } = await timed('anew', part)
      console.log(
        `index made anew, ${readCount} runs: ${inS(openMs)}, ${((1000 * readCount) / openMs).toFixed(0)} runs/s, ${peakMb.toFixed(0)} MB, integrity ${integrity}`,
      )
    }
    const same = await timed('same', folder)
    console.log(
      `brought up to date, nothing new: ${inS(same.openMs)}, ${same.readCount} read, ${same.peakMb.toFixed(0)} MB`,
    )
    for (const [says, { ms, count }] of Object.entries(same.finds)) {
      console.log(`find ${says}: ${ms.toFixed(1)} ms, ${count} of them shown`)
    }
    const { exitCode, ms } = await command(folder, ['--vin', '0000012345'])
    console.log(`linetrue archive find --vin, from start to end of the process: ${inS(ms)}, status ${exitCode}`)
  } finally {
    if (!argv.folder) await fs.remove(folder)
    if (!argv.folder) await fs.remove(process.env['LINETRUE_CACHE'])
  }
}

function inS(ms) {
  return `${(ms / 1000).toFixed(3)} s`
}

async function timed(what, folder) {
  const { stdout } = await $({ quiet: true })`node ${process.argv[1]} ${SELF} --measure ${what} --folder ${folder}`
  return JSON.parse(stdout)
}

async function command(folder, query) {
  const main = path.join(path.dirname(SELF), '../dist/cli/main.js')
  const startMs = performance.now()
  const { exitCode } = await $({ quiet: true, nothrow: true })`node ${main} archive find --archive ${folder} ${query}`
  return { exitCode, ms: performance.now() - startMs }
}

/** Folders a and b below the archive, a with a tenth of the vehicles. */
async function make(folder, runCount, retestCount) {
  if (fs.existsSync(path.join(folder, 'a'))) return 0
  const { RESULT_VERSION } = await import(dist('verdict/result.js'))
  const { summaryOf, summaryText } = await import(dist('archive/summary.js'))
  const { sealText } = await import(dist('archive/seal.js'))
  let byteCount = 0
  for (let n = 0; n < runCount; n++) {
    const vehicle = Math.floor(n / retestCount)
    const shop = vehicle < runCount / retestCount / 10 ? 'a' : 'b'
    const result = resultOf(n, vehicle, RESULT_VERSION)
    const stamp = result.startedAt
      .replace(/\.\d+Z/, '')
      .replace(/[-:]/g, '')
      .replace('T', '-')
    const run = path.join(folder, shop, `vehicle-${vehicle}`, `run-${stamp}`)
    fs.mkdirSync(run, { recursive: true })
    const files = { 'result.json': JSON.stringify(result), 'summary.json': summaryText(summaryOf(result)) }
    const checksums = Object.entries(files).map(([name, text]) => [
      name,
      createHash('sha256').update(text).digest('hex'),
    ])
    for (const [name, text] of Object.entries({ ...files, 'checksums.sha256': sealText(checksums) })) {
      fs.writeFileSync(path.join(run, name), text)
      byteCount += text.length
    }
  }
  return byteCount
}

function resultOf(n, vehicle, version) {
  const isFailed = n % 7 === 0
  const technicians = ['Tamsin Orrell', 'Bo Lind', 'Ines Marek', 'Ruth Abara']
  const output = 1 + (n % 10)
  const figure = (quantity, value, unit, u) => ({
    quantity,
    value,
    unit,
    u,
    budget: [],
    isAtMost: false,
    isAtLeast: false,
    freqHz: 1000,
    method: `${quantity}/1`,
  })
  return {
    format: 'linetrue-result',
    version,
    program: 'linetrue bench',
    startedAt: new Date(Date.UTC(2020, 0, 1) + n * 1_600_000).toISOString(),
    verdict: isFailed ? 'fail' : 'pass',
    summary: isFailed ? `1 of 10 outputs fails: ${output} inverted.` : 'All 10 outputs are as the map says.',
    isSimulated: true,
    retestOf: null,
    job: {
      name: `vehicle ${vehicle}`,
      platform: `quillon ${vehicle % 12}`,
      vehicle: `Velmora Quillon Estate ${2015 + (vehicle % 12)}`,
      vin: `1LT7Q${String(vehicle).padStart(12, '0')}`,
      plate: `LT ${String(vehicle).padStart(5, '0')}`,
      jobNumber: `J-${n}`,
      technician: technicians[n % technicians.length],
      customer: null,
      limitsProfile: 'standard',
      warnings: [],
    },
    rig: { name: 'bench', capture: 'none', player: 'none', meter: null, notes: [], inputs: [] },
    takes: [],
    checks: [figure('level', 1 + n / 1e6, 'V', 0.01)].map((one) => ({
      name: 'level',
      verdict: 'pass',
      figure: one,
      expected: '1 V',
      measured: '1 V',
      why: '',
    })),
    outputs: [],
    sums: [],
    source: null,
    findings: isFailed
      ? [
          {
            kind: 'inverted',
            verdict: 'fail',
            outputs: [output],
            title: `Output ${output} rear left is inverted`,
            because: 'Measured.',
            next: 'Turn the pair round.',
          },
        ]
      : [],
    settings: [],
    stages: [],
    cautions: [],
  }
}
