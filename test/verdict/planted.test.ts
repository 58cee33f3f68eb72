/**
 * Faults planted in the simulated vehicle, each named once and nothing besides: the whole way from the faults file through
 * the bench, the takes and the analysis to the findings. Invented vehicle, seeded: what is planted is the truth.
 */

import { expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import { parseRig } from '../../src/rig/parse.js'
import { benchTakes, NO_WITNESS, type TakeStore } from '../../src/stages/bench-takes.js'
import { verify } from '../../src/stages/verify.js'
import { planPatches } from '../../src/stimulus/plan.js'
import { simulatedBench } from '../../src/vehicle/bench.js'
import { NO_FAULTS, parseFaults } from '../../src/vehicle/faults.js'
import type { Result } from '../../src/verdict/result.js'
import { bareRequest } from '../kit/request.js'
import { everyNth } from '../long.js'

const JOB = `
name: planted
vehicle: { model: Quillon }
volume_step: 30
EXTRA
outputs:
  - { number: 1, label: front left high, left: 1, right: 0, band: { low_hz: 3000, shape: linkwitz_riley }, level_vrms: 2.0 }
  - { number: 2, label: front left low, left: 1, right: 0, band: { high_hz: 3000, shape: linkwitz_riley }, level_vrms: 2.0 }
  - { number: 3, label: rear left, left: 1, right: 0, level_vrms: 1.8, pair: rear }
  - { number: 4, label: rear right, left: 0, right: 1, level_vrms: 1.8, pair: rear }
sums:
  - { name: front left, outputs: [1, 2] }
`
const RIG = `
name: planted
capture: { driver: simulated, sample_rate_hz: 48000, bits: 24 }
player: { driver: simulated }
inputs: { count: 4, full_scale_vrms: 4.0, pad_db: 0, level_uncertainty_db: 0.1 }
`

async function run(faults: string, extraTakes: readonly string[] = []): Promise<Result> {
  const extra = extraTakes.length > 0 ? `extra_takes: [${extraTakes.join(', ')}]` : ''
  const job = parseJob(JOB.replace('EXTRA', extra), 'job.yaml')
  const rig = parseRig(RIG, 'rig.yaml')
  const patches = planPatches(job, rig)
  const bench = simulatedBench(job, rig, faults === '' ? NO_FAULTS : parseFaults(faults, 'faults.yaml'), patches)
  const signal = new AbortController().signal
  const store: TakeStore = {
    open: async () => ({ append: () => {}, finish: async () => {}, discard: async () => {} }),
    sha256: async () => '',
  }
  const takes = benchTakes(bench, job, rig, patches, store, NO_WITNESS, () => {}, signal)
  return verify(bareRequest(job, rig, patches), takes, () => {}, signal)
}

const said = ({ findings }: Result): string[] =>
  findings.map(({ kind, outputs, verdict }) => `${kind} ${outputs.join(',')} ${verdict}`)

test('the healthy vehicle passes at every setting, with nothing to say', async () => {
  const result = await run('', ['volume_20', 'engine_running'])
  expect(said(result)).toEqual([])
  expect(result.verdict).toBe('pass')
  // 10 steps of 1.5 dB down, as the model's volume goes.
  for (const { readings } of result.outputs) expect(readings.volumes[0].levelChangeDb).toBeCloseTo(-15, 2)
}, 60_000)

const CASES: [name: string, faults: string, extra: string[], findings: string[]][] = [
  ['a limiter in the head unit', 'head_unit: { limiter: { threshold_dbfs: -10 } }', [], ['limited 1,2,3,4 fail']],
  [
    'a slow automatic gain',
    'head_unit: { limiter: { threshold_dbfs: -30, ratio: 1.3, attack_ms: 400, release_ms: 3000 } }',
    [],
    ['limited 1,2,3,4 fail'],
  ],
  [
    'a loudness curve',
    'head_unit: { loudness: { bass_share: 0.4, treble_share: 0 } }',
    ['volume_20'],
    ['loudness 2,3,4 fail'],
  ],
  [
    'a whine of the alternator on all outputs',
    'engine: { whine: { freq_hz: 620, drift_hz: 140, harmonic_count: 4, level_dbv: -62 } }',
    ['engine_running'],
    ['whining 1,2,3,4 fail'],
  ],
  [
    'bass and treble left on',
    'head_unit: { tone: [{ kind: low_shelf, freq_hz: 100, gain_db: 6 }, { kind: high_shelf, freq_hz: 8000, gain_db: -4 }] }',
    [],
    ['tone control 1,2,3,4 fail'],
  ],
  [
    'hard clipping of one output, and clicks in another,',
    'outputs: { 3: { clip_vpk: 1.6 } }\nclicks: [{ at_s: 20.5, count: 3, every_ms: 200, outputs: [4] }]',
    [],
    ['distorted 3 fail', 'interrupted 4 fail'],
  ],
  [
    'soft clipping of one output, and a gap in another,',
    'outputs: { 3: { soft_clip_vpk: 3.0 } }\ndropouts: [{ at_s: 20.5, duration_ms: 15, outputs: [4] }]',
    [],
    ['distorted 3 fail', 'interrupted 4 fail'],
  ],
  [
    'a tweeter and woofer that meet a quarter of a millisecond apart',
    'outputs: { 1: { delay_ms: 0.09 } }',
    [],
    ['sum 1,2 fail'],
  ],
  [
    'surround: the left side, changed, in the right rear',
    'head_unit: { surround: { from: left, level_db: -12, outputs: [4] } }',
    [],
    ['time-variant 4 fail'],
  ],
  ['a source that ends at 15.5 kHz', 'head_unit: { lossy_high_hz: 15500 }', [], ['lossy source 1,3,4 unsure']],
  ['a gap in all outputs', 'dropouts: [{ at_s: 34.2, duration_ms: 15 }]', [], ['interrupted  unsure']],
]

test.each(everyNth(CASES, 4))(
  '%s is one finding for each fault',
  async (_, faults, extra, findings) => {
    expect(said(await run(faults, extra))).toEqual(findings)
  },
  60_000,
)
