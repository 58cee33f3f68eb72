/** Gain structure on the simulated vehicle: invented, seeded; truth is what is planted, and Ohm's law by hand. */
import { expect, test } from 'vitest'
import type { Job } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'
import { parseRig } from '../../src/rig/parse.js'
import type { Rig } from '../../src/rig/rig.js'
import { gainsStage } from '../../src/stages/gains.js'
import type { StageResult } from '../../src/verdict/stage-result.js'
import { type Scene, type Script, sceneOf } from '../kit/stage.js'

const job = (gains = '{ volume_steps: [30] }'): Job =>
  parseJob(
    `
name: gains
vehicle: { model: Quillon }
volume_step: 30
gains: ${gains}
outputs:
  - { number: 1, label: front left high, left: 1, right: 0, band: { low_hz: 3000, shape: linkwitz_riley }, level_vrms: 1.8 }
  - { number: 2, label: front left low, left: 1, right: 0, band: { high_hz: 3000, shape: linkwitz_riley }, level_vrms: 1.8 }
  - { number: 3, label: subwoofer, left: 0.5, right: 0.5, band: { high_hz: 80 }, level_vrms: 2.5 }
amplifiers:
  - { name: front left, outputs: [1, 2], rated_w: 75, load_ohm: 4, overlap_db: -5, sensitivity_vrms: { min: 0.3, max: 6 } }
  - { name: subwoofer, outputs: [3], rated_w: 300, load_ohm: 2, overlap_db: -10, bridged: true }
`,
    'job.yaml',
  )
const rig = (meter = 'meter: { driver: simulated, across_input: 1, accuracy_pct: 0.5, accuracy_vrms: 0.002 }'): Rig =>
  parseRig(
    `
name: gains
capture: { driver: simulated, sample_rate_hz: 48000, bits: 24 }
player: { driver: simulated }
${meter}
inputs: { count: 4, full_scale_vrms: 4.0, pad_db: 0, level_uncertainty_db: 0.1 }
`,
    'rig.yaml',
  )

const scene = (faults = '{}', script: Script = {}, its = job(), on = rig()): Scene => sceneOf(its, on, faults, script)
const run = (faults: string, gains?: string): Promise<StageResult> => gainsStage(scene(faults, {}, job(gains)).context)
/** Whole takes are made and read: on a busy machine that takes a while. */
const PATIENT_MS = 180_000

const said = ({ findings }: StageResult): string[] =>
  findings.map(({ kind, outputs, verdict }) => `${kind} ${outputs.join(',')} ${verdict}`)

test(
  'a healthy vehicle has its gains set where the formulas put them',
  async () => {
    const gains = '{ volume_steps: [30, 32], volume_min: 32, amplifier_input: { input: 4, pad_db: 30 } }'
    const { context, told } = scene('{}', {}, job(gains))
    const result = await gainsStage(context)
    expect(said(result)).toEqual([])
    expect(result.verdict).toBe('pass')
    expect(result.summary).toBe('All 2 gains are set; clean up to volume 32')
    const figure = (quantity: string) => result.figures.find((one) => one.quantity === quantity)!
    // By hand: √(75 × 4) = 17.32 V; √(300 × 2) = 24.49 V.
    expect(figure('output volts for rated power, front left').value).toBeCloseTo(17.3205, 3)
    expect(figure('output volts for rated power, subwoofer').value).toBeCloseTo(24.4949, 3)
    // 1.8 V at volume 30, two steps of 1.5 dB up, -5 dB: 1.8 × 1.41254 × 0.56234 = 1.4298 V from the woofer's output, whose level
    // holds at 1 kHz. In phase with it (Linkwitz-Riley) the tweeter's: x^4 / (1 + x^4) at 997 of 3000 Hz is 0.01205, at its own
    // reference of 7746 Hz 0.97799: 1.23 % more. Each output is off by up to 0.1 dB (1.2 %).
    expect(Math.abs(figure('sensitivity to set, front left').value! / 1.4474 - 1)).toBeLessThan(0.013)
    // 2.5 V, half of each side alike on both: 2.5 V × 1.4125 = 3.531 V; -10 dB: 1.1167 V. At 60 Hz its low-pass of 80 Hz takes
    // 1 / √(1 + 0.75^8) = 0.9536, at its reference of 40 Hz 0.9981: 1.0669 V.
    expect(Math.abs(figure('sensitivity to set, subwoofer').value! / 1.0669 - 1)).toBeLessThan(0.013)
    // The meter of the model is within 0.5 %; the capture within 0.1 dB at the most of what was set by it.
    for (const check of result.checks.filter(({ name }) => name.startsWith('gain,'))) {
      expect(Math.abs(check.figure!.value!)).toBeLessThan(0.15)
    }
    // The model's amplifiers have 1.25 of their rated power before they clip: 93.75 W and 375 W. 1 % THD of a clipped sine comes
    // 0.2 dB over the cut (closed form, measure/hard-clip): 4 % of power.
    expect(figure('power at clipping, front left').value! / 93.75).toBeGreaterThan(0.98)
    expect(figure('power at clipping, front left').value! / 93.75).toBeLessThan(1.06)
    expect(told.filter((line) => line.startsWith('todo'))).toEqual([
      'todo gains.front left connect',
      'todo gains.front left set',
      'todo gains.subwoofer connect',
      'todo gains.subwoofer set',
    ])
    expect(result.tables[0].rows.map(({ cells }) => cells[8])).toEqual(['17.3 V', '24.5 V'])
  },
  PATIENT_MS,
)

test(
  'each fault of a gain or an amplifier is named once, and nothing besides',
  async () => {
    const faults = `
amplifiers:
  front left: { gain_error_db: 3 }
  subwoofer: { clips_at_w: 180 }
`
    const result = await run(faults, '{ volume_steps: [30], amplifier_input: { input: 4, pad_db: 30 } }')
    expect(said(result)).toEqual(['gain 1,2 fail', 'gain 3 fail'])
    // 3 dB over the target, cut off at 1.25 of rated power (0.969 dB over it): r = 0.7915, α = asin r, mean square
    // (2 / π) (α / 2 - sin 2α / 4 + r² (π / 2 - α)) = 0.3989 of the uncut peak's square: +2.02 dB over the target.
    expect(result.findings[0].title).toMatch(/^The gain of front left is set too high: \+(1\.9|2\.0|2\.1) dB$/)
    // 180 W, and 1 % THD comes up to 4 % of power later.
    expect(result.findings[1].title).toMatch(/^subwoofer clips at 1[89]\d W, below its rated 300 W$/)
  },
  PATIENT_MS,
)

test(
  'a head unit that clips above a volume is found at the next one, and the gains are set below',
  async () => {
    const result = await run('head_unit: { clips_above_volume: 31 }', '{ volume_steps: [30, 32], volume_min: 32 }')
    expect(said(result)).toEqual(['gain 1,2,3 fail'])
    expect(result.findings[0].title).toBe('The head unit clips at volume 32')
    expect(result.checks[0].measured).toContain('volume 30: at volume 32 outputs 1, 2 and 3 clip')
    expect(result.checks.slice(1).map(({ verdict }) => verdict)).toEqual(['pass', 'pass'])
  },
  PATIENT_MS,
)

test(
  'faults of other stages fail nothing here: distortion, hum, swapped and weak outputs',
  async () => {
    const result = await run(`
outputs:
  1: { distortion: { second_pct: 2 } }
  2: { gain_db: -4, inverted: true }
  3: { hum: { freq_hz: 60, level_dbv: -50 } }
`)
    expect(said(result).filter((line) => !line.endsWith('pass'))).toEqual([])
    expect(result.verdict).toBe('pass')
  },
  PATIENT_MS,
)

test(
  'a person steps back, leaves a channel out, and a stage that was stopped goes on where it was',
  async () => {
    const its = job('{ volume_steps: [30] }')
    const script = {
      'gains.subwoofer connect': ['back'],
      'gains.front left set': ['done', 'back'],
      'gains.subwoofer set': ['skip'],
    }
    const first = scene('{}', script, its)
    const result = await gainsStage(first.context)
    expect(first.told.filter((line) => line.startsWith('todo')).map((line) => line.slice(11))).toEqual([
      'front left connect',
      'front left set',
      'subwoofer connect',
      'front left connect',
      'front left set',
      'front left connect',
      'front left set',
      'subwoofer connect',
      'subwoofer set',
    ])
    expect(result.checks.at(-1)).toMatchObject({ name: 'gain, subwoofer', verdict: 'unsure', why: 'It was left out.' })
    const again = sceneOf(its, rig(), '{}', {}, first.kept)
    expect((await gainsStage(again.context)).checks.map(({ verdict }) => verdict)).toEqual(
      result.checks.map(({ verdict }) => verdict),
    )
    expect(again.told.some((line) => line.startsWith('todo'))).toBe(false)
  },
  PATIENT_MS,
)

test('what a stage lacks is said with what to add', async () => {
  const bare = { ...job(), amplifiers: [] }
  await expect(gainsStage(scene('{}', {}, bare).context)).rejects.toThrow('the job names no amplifier channels')
  await expect(gainsStage(scene('{}', {}, job(), rig('')).context)).rejects.toThrow('gains needs a meter')
  const weak = job('{ amplifier_input: { input: 4, pad_db: 10 } }')
  await expect(gainsStage(scene('{}', {}, weak).context)).rejects.toThrow('input 4 takes 12.6 V through its attenuator')
})
