/** The tuner's check on the simulated vehicle: invented, seeded; what is planted is the truth. */
import { expect, test } from 'vitest'
import { sectionsToTypeIn, tunerFiles } from '../../src/archive/tuner-files.js'
import { parseJob } from '../../src/job/parse.js'
import { parseRig } from '../../src/rig/parse.js'
import { flatStage } from '../../src/stages/flat.js'
import type { StageResult } from '../../src/verdict/stage-result.js'
import { sceneOf } from '../kit/stage.js'

const JOB = `
name: flat
vehicle: { model: Quillon }
flat: FLAT
outputs:
  - { number: 1, label: front left high, left: 1, right: 0, band: { low_hz: 3000, shape: linkwitz_riley }, level_vrms: 2.0 }
  - { number: 2, label: front left low, left: 1, right: 0, band: { high_hz: 3000, shape: linkwitz_riley }, level_vrms: 2.0 }
  - { number: 3, label: rear left, left: 1, right: 0, level_vrms: 1.8, pair: rear }
  - { number: 4, label: rear right, left: 0, right: 1, level_vrms: 1.8, pair: rear }
sums:
  - { name: front left, outputs: [1, 2] }
`
const RIG = parseRig(
  `
name: flat
capture: { driver: simulated, sample_rate_hz: 48000, bits: 24 }
player: { driver: simulated }
inputs: { count: 4, full_scale_vrms: 4.0, pad_db: 0, level_uncertainty_db: 0.1 }
`,
  'rig.yaml',
)

const run = (faults: string, flat = '{}'): Promise<StageResult> =>
  flatStage(sceneOf(parseJob(JOB.replace('FLAT', flat), 'job.yaml'), RIG, faults).context)

/** Whole takes are made and read: on a busy machine that takes a while. */
const PATIENT_MS = 180_000

const said = ({ findings }: StageResult): string[] =>
  findings.map(({ kind, outputs, verdict }) => `${kind} ${outputs.join(',')} ${verdict}`)

/** Four sections as nobody told the program: peaks and shelves, as the vehicle's own processing may have them. */
const UNKNOWN = `
      - { kind: low_shelf, freq_hz: 110, gain_db: 5.2, q: 0.7 }
      - { kind: peaking, freq_hz: 420, gain_db: -3.4, q: 1.3 }
      - { kind: peaking, freq_hz: 2600, gain_db: 4.6, q: 2.1 }
      - { kind: peaking, freq_hz: 7800, gain_db: -6, q: 1.1 }`

test(
  'a healthy vehicle is flat, its sums too, with nothing to undo',
  async () => {
    const result = await run('{}')
    expect(said(result)).toEqual([])
    expect(result.verdict).toBe('pass')
    expect(result.summary).toBe('All 5 are flat, 30 Hz to 16.0 kHz')
    expect(result.corrections).toEqual([])
    expect(tunerFiles(result.corrections)).toEqual([])
    // Shorter than the whole track, which takes 41 s.
    expect(result.takes.map(({ durationS }) => durationS < 18)).toEqual([true])
  },
  PATIENT_MS,
)

test(
  'the settings that are printed for four unknown sections leave ± 0.3 dB from 30 Hz to 16.0 kHz',
  async () => {
    const flat = '{ outputs: [3], tolerance_db: 0.3 }'
    const before = await run(`outputs:\n  3:\n    equaliser:${UNKNOWN}`, flat)
    expect(said(before)).toEqual(['not flat 3 fail'])
    const [correction] = before.corrections
    expect(correction.sections).toHaveLength(4)
    expect(correction.leavesDb).toBeLessThan(0.3)
    // As a tuner would: from the file, as rounded there, into the chain, behind what is in it.
    const [settings] = tunerFiles(before.corrections)
    const typed = settings.text
      .trim()
      .split('\r\n')
      .slice(1)
      .map((line) => line.replaceAll('"', '').split(','))
      .map(
        ([, , kind, hz, gainDb, q]) =>
          `\n      - { kind: ${kind.replace(' ', '_')}, freq_hz: ${hz}, gain_db: ${gainDb}, q: ${q} }`,
      )
    expect(typed).toHaveLength(4)
    const after = await run(`outputs:\n  3:\n    equaliser:${UNKNOWN}${typed.join('')}`, flat)
    expect(after.verdict).toBe('pass')
    expect(after.findings).toEqual([])
    const [highest, lowest] = after.figures
    expect(highest.value! + highest.u!).toBeLessThan(0.3)
    expect(lowest.value! - lowest.u!).toBeGreaterThan(-0.3)
    // Truth: what was planted, with the other sign.
    const planted = [
      [110, -5.2],
      [420, 3.4],
      [2600, -4.6],
      [7800, 6],
    ]
    sectionsToTypeIn(correction).forEach(({ freqHz, gainDb }, k) => {
      expect(Math.abs(freqHz / planted[k][0] - 1)).toBeLessThan(0.01)
      expect(Math.abs(gainDb - planted[k][1])).toBeLessThan(0.05)
    })
  },
  PATIENT_MS,
)

test(
  'faults of other stages fail nothing here',
  async () => {
    const result = await run(`
outputs:
  1: { inverted: true }
  2: { gain_db: -4 }
  3: { swapped_with: 4 }
`)
    expect(said(result)).toEqual(['not flat 1,2 unsure'])
    expect(result.findings[0].title).toBe('The sum front left is flat only with its outputs aligned')
    expect(result.findings[0].next).toMatch(/of opposite polarity.*output 2: (3\.9|4\.0|4\.1) dB more/)
  },
  PATIENT_MS,
)

test(
  'a dead output is left to the stage of the outputs',
  async () => {
    const result = await run('outputs: { 4: { dead: true, }, 3: { noise_dbv: -60, distortion: { second_pct: 2 } } }')
    expect(said(result)).toEqual(['not flat 4 unsure'])
    expect(result.summary).toBe('4 of 5 are flat, 30 Hz to 16.0 kHz; not settled: 4 rear right')
  },
  PATIENT_MS,
)

test(
  'the same section in nearly all outputs is said to be a tone control',
  async () => {
    const result = await run('head_unit: { tone: [{ kind: peaking, freq_hz: 500, gain_db: 4, q: 0.8 }] }')
    expect(said(result)).toEqual(['not flat 2 fail', 'not flat 3 fail', 'not flat 4 fail', 'not flat 1,2 fail'])
    expect(result.findings[1].next).toContain('set bass, treble, loudness and sound effects to zero')
  },
  PATIENT_MS,
)

test(
  'a response that few sections do not follow gets no settings, and is said so',
  async () => {
    const comb = Array.from(
      { length: 14 },
      (_, k) => `{ kind: peaking, freq_hz: ${Math.round(60 * 1.45 ** k)}, gain_db: ${k % 2 ? 4 : -4}, q: 6 }`,
    )
    const result = await run(`outputs: { 3: { equaliser: [${comb.join(', ')}] } }`, '{ outputs: [3] }')
    expect(said(result)).toEqual(['not flat 3 fail'])
    const [{ because, next }] = result.findings
    expect(because).toContain('No few equaliser sections follow its curve')
    expect(next).toContain('has to be tuned by its curve')
    expect(result.corrections).toEqual([])
  },
  PATIENT_MS,
)
