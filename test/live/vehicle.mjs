// A vehicle in real time between two null sinks: takes what plays on `radio`, makes of it what each line output gives,
// and plays that on `outputs`. Its filters are its own code, so that it shares no fault with what it tests.
//
// Run: node vehicle.mjs DESCRIPTION.json LEVELS.json
// DESCRIPTION is a VehicleDescription (world.ts). Every 0.1 s LEVELS gets the volts rms of each output over the last
// 0.3 s, for a meter. Lines on standard input, such as {"fader":"front"}, turn the fader. It says "running" once sound flows.
import { spawn } from 'node:child_process'
import { readFileSync, renameSync, writeFileSync } from 'node:fs'
import { setPriority } from 'node:os'

const SAMPLE_RATE_HZ = 48_000
const SINK_CHANNEL_COUNT = 12
// A whole second: a computer that is busy for less is not heard. The capture's tail waits for it.
const LATENCY_MS = 1000
const LEVEL_WINDOW_S = 0.3

// A vehicle is not slowed down by the computer that measures it: as root it goes first, its tools with it.
try {
  setPriority(-15)
} catch {
  // Anybody else takes the computer as it is.
}

const vehicle = JSON.parse(readFileSync(process.argv[2], 'utf8'))
const levelsPath = process.argv[3]
let fader = 'middle'

/** Coefficients of one section: R. Bristow-Johnson, Audio EQ Cookbook (W3C note), a0 divided out. */
function coefficients({ type, freqHz, q = Math.SQRT1_2, gainDb = 0 }) {
  const w = (2 * Math.PI * freqHz) / SAMPLE_RATE_HZ
  const [cos, alpha, A] = [Math.cos(w), Math.sin(w) / (2 * q), 10 ** (gainDb / 40)]
  const root = 2 * Math.sqrt(A) * alpha
  const rows = {
    lowpass: [(1 - cos) / 2, 1 - cos, (1 - cos) / 2, 1 + alpha, -2 * cos, 1 - alpha],
    highpass: [(1 + cos) / 2, -(1 + cos), (1 + cos) / 2, 1 + alpha, -2 * cos, 1 - alpha],
    allpass: [1 - alpha, -2 * cos, 1 + alpha, 1 + alpha, -2 * cos, 1 - alpha],
    peaking: [1 + alpha * A, -2 * cos, 1 - alpha * A, 1 + alpha / A, -2 * cos, 1 - alpha / A],
    lowshelf: [
      A * (A + 1 - (A - 1) * cos + root),
      2 * A * (A - 1 - (A + 1) * cos),
      A * (A + 1 - (A - 1) * cos - root),
      A + 1 + (A - 1) * cos + root,
      -2 * (A - 1 + (A + 1) * cos),
      A + 1 + (A - 1) * cos - root,
    ],
    highshelf: [
      A * (A + 1 + (A - 1) * cos + root),
      -2 * A * (A - 1 + (A + 1) * cos),
      A * (A + 1 + (A - 1) * cos - root),
      A + 1 - (A - 1) * cos + root,
      2 * (A - 1 - (A + 1) * cos),
      A + 1 - (A - 1) * cos - root,
    ],
  }
  const row = rows[type]
  if (!row) throw new Error(`unknown filter type ${type}`)
  const [b0, b1, b2, a0, a1, a2] = row
  return [b0, b1, b2, a1, a2].map((value) => value / a0)
}

/** Even noise from a linear congruential generator (Numerical Recipes), -1 to 1. */
function evenNoise(seed) {
  let state = seed >>> 0
  return () => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0
    return state / 2 ** 31 - 1
  }
}

/** One output: a function from a left and a right sample to its own, in fractions of the capture's full scale. */
function makeOutput(spec, index) {
  const scale = ((spec.polarity ?? 1) * spec.levelVrms) / vehicle.fullScaleVrms
  const filters = (spec.filters ?? []).map((filter) => ({ c: coefficients(filter), s1: 0, s2: 0 }))
  const delayLine = new Float64Array(Math.round((spec.delayS ?? 0) * SAMPLE_RATE_HZ) + 1)
  const clipFs = (spec.clipVpk ?? Infinity) / (Math.SQRT2 * vehicle.fullScaleVrms)
  // Even noise has an rms of 1 / sqrt(3) of its peak; full scale's rms is 1 / sqrt(2) of its peak.
  const noisePeakFs = ((spec.noiseVrms ?? 0) / vehicle.fullScaleVrms) * Math.sqrt(3 / 2)
  const noise = evenNoise(index + 1)
  let at = 0
  return (left, right) => {
    let y = spec.leftGain * left + spec.rightGain * right
    for (const f of filters) {
      const [b0, b1, b2, a1, a2] = f.c
      const out = b0 * y + f.s1
      f.s1 = b1 * y - a1 * out + f.s2
      f.s2 = b2 * y - a2 * out
      y = out
    }
    y *= fader === 'front' && spec.faderGroup === 'rear' ? 0 : scale
    delayLine[at] = Math.max(-clipFs, Math.min(clipFs, y))
    at = (at + 1) % delayLine.length
    return delayLine[at] + noisePeakFs * noise()
  }
}

const outputs = vehicle.outputs.map(makeOutput)
const meters = outputs.map(() => ({ power: 0 }))
const keep = Math.exp(-1 / (LEVEL_WINDOW_S / 3) / SAMPLE_RATE_HZ)

const channelMap = (count) => Array.from({ length: count }, (_, c) => `aux${c}`).join(',')
const shape = (count) => [
  '--raw',
  '--format=float32le',
  `--rate=${SAMPLE_RATE_HZ}`,
  `--channels=${count}`,
  `--channel-map=${channelMap(count)}`,
  '--no-remix',
  '--no-remap',
]
const source = spawn('parec', ['--device=radio.monitor', '--latency-msec=20', ...shape(2)])
const sink = spawn('pacat', [
  '--playback',
  '--verbose',
  '--device=outputs',
  `--latency-msec=${LATENCY_MS}`,
  '--volume=65536',
  ...shape(SINK_CHANNEL_COUNT),
])

sink.stderr.on('data', (text) => {
  for (const line of text.toString().split(/[\r\n]+/)) if (/underrun|overrun/i.test(line)) console.log(line.trim())
})
for (const tool of [source, sink]) {
  tool.on('close', () => process.exit(1))
  tool.stdin.on('error', () => {})
}
const stop = () => {
  source.kill()
  sink.kill()
  process.exit(0)
}
process.on('SIGTERM', stop)
process.on('SIGINT', stop)

let rest = Buffer.alloc(0)
let isRunning = false
source.stdout.on('data', (bytes) => {
  const all = rest.length === 0 ? bytes : Buffer.concat([rest, bytes])
  const frameCount = Math.floor(all.length / 8)
  rest = all.subarray(8 * frameCount)
  const played = new Float32Array(frameCount * SINK_CHANNEL_COUNT)
  for (let n = 0; n < frameCount; n++) {
    const left = all.readFloatLE(8 * n)
    const right = all.readFloatLE(8 * n + 4)
    for (let k = 0; k < outputs.length; k++) {
      const y = outputs[k](left, right)
      played[n * SINK_CHANNEL_COUNT + k] = y
      meters[k].power = keep * meters[k].power + (1 - keep) * y * y
    }
  }
  sink.stdin.write(Buffer.from(played.buffer))
  if (!isRunning) console.log('running')
  isRunning = true
})

setInterval(() => {
  const volts = meters.map(({ power }) => Math.sqrt(2 * power) * vehicle.fullScaleVrms)
  writeFileSync(`${levelsPath}.part`, JSON.stringify(volts))
  renameSync(`${levelsPath}.part`, levelsPath)
}, 100)

let typed = ''
process.stdin.on('data', (text) => {
  typed += text
  const lines = typed.split('\n')
  typed = lines.pop()
  for (const line of lines) {
    fader = JSON.parse(line).fader
    console.log(`fader ${fader}`)
  }
})
