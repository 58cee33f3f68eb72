#!/usr/bin/env zx
// Times the analysis of takes. Run: npm run bench
//
// Each figure is the median of several fresh processes. "After a live run": the program has been running while the track
// played, so its code is warm; from the end of the take to the verdict. "From a file": a fresh program reads a recording.
// Goal: 12 outputs, the whole track at 48 kHz, after a live run: 1 s, and 350 MB, on two cores; cost linear in outputs.
//
//   --runs N           fresh processes for each figure (5)
//   --outputs 2,12,32  outputs of the take (12)
//   --rates 48000      sample rates of the capture (48000)
//   --leads 0          seconds of silence before the track (0)
//   --scipy            times test/outside/recompute.py on the same file too (needs /usr/bin/python3 with scipy)
//   --all              outputs 2 to 32, rates 44.1 to 192 kHz, lead-ins to 60 s, and scipy
import { $, argv, fs, os, path } from 'zx'

const list = (value, otherwise) =>
  String(value ?? otherwise)
    .split(',')
    .map(Number)
const RUN_COUNT = Number(argv.runs ?? 5)
const dist = (file) => new URL(`../dist/${file}`, import.meta.url).href
const load = (...names) => Promise.all(names.map((name) => import(dist(name))))

if (argv.measure) await measure(argv.measure, Number(argv.outputs), argv.live === true)
else await compare()

/** One fresh process: measures the file once and prints a line of JSON. */
async function measure(file, outputCount, isLive) {
  const [{ readRecording }, { parseJob }, { parseRig }, { planPatches }, { verify }] = await load(
    'instruments/recording.js',
    'job/parse.js',
    'rig/parse.js',
    'stimulus/plan.js',
    'stages/verify.js',
  )
  const job = parseJob(jobText(outputCount), 'bench job')
  const rig = parseRig(rigText(outputCount), 'bench rig')
  const patches = planPatches(job, rig)
  let [startMs, readMs, startCpuMs] = [performance.now(), 0, cpuMs()]
  async function* takes() {
    if (isLive) await new Promise((resolve) => setTimeout(resolve, 6000))
    const beforeMs = performance.now()
    const { audio, info, sha256 } = await readRecording(file)
    readMs = performance.now() - beforeMs
    if (isLive) [startMs, startCpuMs] = [performance.now(), cpuMs()]
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
    isAhead: isLive,
    says: { capture: '', player: '', meter: () => null },
    rigNotes: [],
    retestOf: null,
    rigChecks: [],
    rigFindings: [],
  }
  const result = await verify(request, takes(), () => {}, new AbortController().signal)
  const wallMs = performance.now() - startMs
  const peakMb = process.resourceUsage().maxRSS / 1024
  console.log(JSON.stringify({ wallMs, readMs, cpuMs: cpuMs() - startCpuMs, peakMb, verdict: result.verdict }))
}

function cpuMs() {
  const { userCPUTime, systemCPUTime } = process.resourceUsage()
  return (userCPUTime + systemCPUTime) / 1000
}

async function compare() {
  const folder = await fs.mkdtemp(path.join(os.tmpdir(), 'linetrue-bench-'))
  const outputs = list(argv.outputs, argv.all ? '2,4,8,12,16,32' : 12)
  const rates = list(argv.rates, argv.all ? '48000,44100,96000,192000' : 48_000)
  const leads = list(argv.leads, argv.all ? '0,60' : 0)
  console.log(
    `${os.cpus().length} × ${os.cpus()[0].model.trim()}, node ${process.version}, ${os.platform()} ${os.arch()}; ` +
      `medians of ${RUN_COUNT} fresh processes`,
  )
  row('take', ['live ms', 'file ms', 'read ms', 'cpu ms', 'live MB', 'file MB', 'ms/output'])
  try {
    const scaling = []
    // Each question by itself: not every rate with every number of outputs.
    for (const outputCount of outputs) scaling.push(await timed(folder, outputCount, rates[0], leads[0]))
    for (const rateHz of rates.slice(1)) await timed(folder, Math.min(outputs[0], 4), rateHz, leads[0])
    for (const leadS of leads.slice(1)) await timed(folder, 12, rates[0], leadS)
    if (scaling.length > 2) sayLinear(scaling)
    if (argv.scipy || argv.all) await againstScipy(folder, outputs.includes(12) ? 12 : outputs[0])
  } finally {
    await fs.remove(folder)
  }
}

function row(says, cells) {
  console.log(says.padEnd(34) + cells.map((cell) => String(cell).padStart(10)).join(''))
}

async function timed(folder, outputCount, rateHz, leadS) {
  const file = path.join(folder, 'take.wav')
  await makeTake(file, outputCount, rateHz, leadS)
  const live = await runs(file, outputCount, true)
  const cold = await runs(file, outputCount, false)
  await fs.remove(file)
  const liveMs = median(live, 'wallMs')
  row(`${outputCount} outputs, ${rateHz / 1000} kHz, ${40 + leadS} s`, [
    liveMs.toFixed(0),
    median(cold, 'wallMs').toFixed(0),
    median(cold, 'readMs').toFixed(0),
    median(live, 'cpuMs').toFixed(0),
    median(live, 'peakMb').toFixed(0),
    median(cold, 'peakMb').toFixed(0),
    (liveMs / outputCount).toFixed(0),
  ])
  return { outputCount, liveMs }
}

async function runs(file, outputCount, isLive) {
  const all = []
  const flags = ['--measure', file, '--outputs', outputCount, ...(isLive ? ['--live'] : [])]
  for (let i = 0; i < RUN_COUNT; i++) {
    const { stdout } = await $({
      quiet: true,
    })`node ${process.argv[1]} ${import.meta.filename ?? 'scripts/bench.mjs'} ${flags}`
    all.push(JSON.parse(stdout))
  }
  const failed = all.find(({ verdict }) => verdict !== 'pass')
  if (failed) throw new Error(`the bench's own take does not pass: ${failed.verdict}`)
  return all
}

function median(all, key) {
  return all.map((run) => run[key]).sort((a, b) => a - b)[all.length >> 1]
}

/** Straight line through time against outputs, and how far the points lie off it. */
function sayLinear(points) {
  const mean = (values) => values.reduce((sum, value) => sum + value, 0) / values.length
  const [x, y] = [mean(points.map((p) => p.outputCount)), mean(points.map((p) => p.liveMs))]
  const slope =
    mean(points.map((p) => (p.outputCount - x) * (p.liveMs - y))) / mean(points.map((p) => (p.outputCount - x) ** 2))
  const off = Math.max(...points.map((p) => Math.abs(p.liveMs - y - slope * (p.outputCount - x)) / p.liveMs))
  console.log(
    `linear in outputs: ${(y - slope * x).toFixed(0)} ms and ${slope.toFixed(0)} ms for each output; ` +
      `points lie within ${(100 * off).toFixed(0)} % of that line`,
  )
}

/** The same file through numpy and scipy: it is told where the track is, and computes fewer figures. */
async function againstScipy(folder, outputCount) {
  const [take, track, request] = ['take.wav', 'track.wav', 'request.json'].map((name) => path.join(folder, name))
  const located = await makeTake(take, outputCount, 48_000, 0)
  const [{ renderTrack }, { writeWavFile }, { sectionsOf }, { GRID_HZ }] = await load(
    'stimulus/render.js',
    'instruments/take-file.js',
    'stimulus/layout.js',
    'measure/grid.js',
  )
  await writeWavFile(track, await renderTrack(48_000), 24, 1)
  await fs.writeJson(request, {
    sample_rate_hz: 48_000,
    ...located,
    sections: sectionsOf().map(({ kind, startS, durationS, tones }) => ({
      kind,
      start_s: startS,
      duration_s: durationS,
      tones: tones.map(({ freqHz }) => ({ freq_hz: freqHz })),
    })),
    freq_hz: [...GRID_HZ].filter((hz) => hz >= 20 && hz <= 20_000),
    pairs: [],
  })
  const script = path.join(path.dirname(import.meta.filename ?? 'scripts/bench.mjs'), '../test/outside/recompute.py')
  const times = []
  for (let i = 0; i < Math.min(3, RUN_COUNT); i++) {
    const startMs = performance.now()
    await $({
      quiet: true,
    })`/usr/bin/python3 ${script} ${take} ${track} ${request} > ${path.join(folder, 'answer.json')}`
    times.push({ wallMs: performance.now() - startMs })
  }
  const cold = median(await runs(take, outputCount, false), 'wallMs')
  const scipyMs = median(times, 'wallMs')
  console.log(
    `${outputCount} outputs from a file: linetrue ${cold.toFixed(0)} ms (finds the track, all figures), numpy and scipy ` +
      `${scipyMs.toFixed(0)} ms (told where it is; response, tones, noise): ratio ${(scipyMs / cold).toFixed(1)}`,
  )
}

/** Odd outputs hear the left side, even ones the right, at half the card's full scale. */
function isLeft(number) {
  return number % 2 === 1
}

function jobText(outputCount) {
  const outputs = Array.from({ length: outputCount }, (_, k) => {
    const [left, right] = isLeft(k + 1) ? [1, 0] : [0, 1]
    return `  - { number: ${k + 1}, label: output ${k + 1}, left: ${left}, right: ${right}, level_vrms: 0.5 }`
  })
  return `name: bench\nvehicle: { model: bench }\noutputs:\n${outputs.join('\n')}\n`
}

function rigText(outputCount) {
  const inputs = `{ count: ${outputCount}, full_scale_vrms: 1.0, pad_db: 0, level_uncertainty_db: 0.1 }`
  return `name: bench\ncapture: { driver: recording }\nplayer: { driver: none }\ninputs: ${inputs}\n`
}

/** The track as rendered, on the capture's clock; another rate by the vehicle's own resampler. */
async function makeTake(file, outputCount, rateHz, leadS) {
  const [{ renderTrack }, { writeWavFile }, { resample }] = await load(
    'stimulus/render.js',
    'instruments/take-file.js',
    'vehicle/resample.js',
  )
  const track = await renderTrack(48_000)
  const step = track.sampleRateHz / rateHz
  const frameCount = Math.ceil(track.channels[0].length / step)
  const sides = step === 1 ? track.channels : resample(track.channels, 0, step, frameCount)
  const leadFrames = Math.round(leadS * rateHz)
  const outputs = Array.from({ length: outputCount }, (_, k) => {
    const out = new Float32Array(leadFrames + sides[0].length)
    const side = sides[isLeft(k + 1) ? 0 : 1]
    for (let n = 0; n < side.length; n++) out[leadFrames + n] = 0.5 * side[n]
    return out
  })
  await writeWavFile(file, { sampleRateHz: rateHz, channels: outputs }, 24, 1)
  return { start_sample: leadFrames, samples_per_s: rateHz }
}
