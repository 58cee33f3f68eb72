#!/usr/bin/env zx
// Times the analysis of a take: 12 outputs, the whole track at 48 kHz and 24 bits. Run: npm run bench
// Each figure is the median of several fresh processes: reading the file, finding the track, measuring all outputs and
// judging them, with the largest memory of the process. Goal: 1 s and 350 MB on two cores.
import { $, argv, fs, os, path } from 'zx'

const OUTPUT_COUNT = Number(argv.outputs ?? 12)
const RUN_COUNT = Number(argv.runs ?? 5)
const dist = (file) => new URL(`../dist/${file}`, import.meta.url).href

if (argv.measure) await measure(argv.measure)
else await compare()

/** One fresh process: measures the file once and prints a line of JSON. */
async function measure(file) {
  const [{ readRecording }, { parseJob }, { parseRig }, { planPatches }, { verify }] = await Promise.all(
    ['instruments/recording.js', 'job/parse.js', 'rig/parse.js', 'stimulus/plan.js', 'stages/verify.js'].map(
      (name) => import(dist(name)),
    ),
  )
  const job = parseJob(jobText(), 'bench job')
  const rig = parseRig(rigText(), 'bench rig')
  const patches = planPatches(job, rig)
  const startMs = performance.now()
  let readMs = 0
  async function* takes() {
    const { audio, info, sha256 } = await readRecording(file)
    readMs = performance.now() - startMs
    yield {
      patchName: patches[0].name,
      setting: 'reference',
      audio,
      captureBits: info.bits,
      source: file,
      sha256: async () => sha256,
      faults: [],
    }
  }
  const request = {
    job,
    rig,
    patches,
    startedAt: '',
    program: 'bench',
    isSimulated: true,
    says: { capture: '', player: '', meter: () => null },
    rigNotes: [],
    rigChecks: [],
    rigFindings: [],
  }
  const result = await verify(request, takes(), () => {}, new AbortController().signal)
  const wallMs = performance.now() - startMs
  const { maxRSS, userCPUTime, systemCPUTime } = process.resourceUsage()
  const cpuMs = (userCPUTime + systemCPUTime) / 1000
  console.log(JSON.stringify({ wallMs, readMs, cpuMs, peakMb: maxRSS / 1024, verdict: result.verdict }))
}

async function compare() {
  const folder = await fs.mkdtemp(path.join(os.tmpdir(), 'linetrue-bench-'))
  try {
    const file = path.join(folder, 'take.wav')
    await makeTake(file)
    const { size } = await fs.stat(file)
    console.log(
      `${os.cpus().length} × ${os.cpus()[0].model.trim()}, node ${process.version}, ${os.platform()} ${os.arch()}\n` +
        `${OUTPUT_COUNT} outputs, 48 kHz, 24 bits, ${(size / 3 / OUTPUT_COUNT / 48_000).toFixed(0)} s, ${(size / 2 ** 20).toFixed(0)} MB; ${RUN_COUNT} runs after one warm-up`,
    )
    const runs = []
    for (let i = 0; i <= RUN_COUNT; i++) {
      const { stdout } = await $({
        quiet: true,
      })`node ${process.argv[1]} ${import.meta.filename ?? 'scripts/bench.mjs'} --measure ${file} --outputs ${OUTPUT_COUNT}`
      if (i > 0) runs.push(JSON.parse(stdout))
    }
    const row = (says, key, unit, digits) => {
      const values = runs.map((run) => run[key]).sort((a, b) => a - b)
      const shown = [values[0], values[values.length >> 1], values.at(-1)].map((value) =>
        value.toFixed(digits).padStart(8),
      )
      console.log(`${says.padEnd(34)}${shown.join('')} ${unit}`)
    }
    console.log(`${''.padEnd(34)}${['least', 'median', 'most'].map((word) => word.padStart(8)).join('')}`)
    row('file to verdict, wall clock', 'wallMs', 'ms', 0)
    row('  of it reading the file', 'readMs', 'ms', 0)
    row('processor time of the process', 'cpuMs', 'ms', 0)
    row('peak memory', 'peakMb', 'MB', 0)
    if (runs.some(({ verdict }) => verdict !== 'pass'))
      throw new Error(`the bench's own take does not pass: ${runs[0].verdict}`)
  } finally {
    await fs.remove(folder)
  }
}

/** Odd outputs hear the left side, even ones the right, at half the card's full scale. */
function isLeft(number) {
  return number % 2 === 1
}

function jobText() {
  const outputs = Array.from({ length: OUTPUT_COUNT }, (_, k) => {
    const [left, right] = isLeft(k + 1) ? [1, 0] : [0, 1]
    return `  - { number: ${k + 1}, label: output ${k + 1}, left: ${left}, right: ${right}, level_vrms: 0.5 }`
  })
  return `name: bench\nvehicle: { model: bench }\noutputs:\n${outputs.join('\n')}\n`
}

function rigText() {
  const inputs = `{ count: ${OUTPUT_COUNT}, full_scale_vrms: 1.0, pad_db: 0, level_uncertainty_db: 0.1 }`
  return `name: bench\ncapture: { driver: recording }\nplayer: { driver: none }\ninputs: ${inputs}\n`
}

async function makeTake(file) {
  const [{ renderTrack }, { writeWavFile }] = await Promise.all(
    ['stimulus/render.js', 'instruments/take-file.js'].map((name) => import(dist(name))),
  )
  const { sampleRateHz, channels } = await renderTrack(48_000)
  const outputs = Array.from({ length: OUTPUT_COUNT }, (_, k) =>
    channels[isLeft(k + 1) ? 0 : 1].map((sample) => 0.5 * sample),
  )
  await writeWavFile(file, { sampleRateHz, channels: outputs }, 24, 1)
}
