import { describe, expect, test } from 'vitest'
import type { Job } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'
import { parseRig } from '../../src/rig/parse.js'
import type { OwnLoop, Rig, RigLimits } from '../../src/rig/rig.js'
import { type HeadroomPlan, planHeadroom } from '../../src/stimulus/headroom.js'
import { planPatches } from '../../src/stimulus/plan.js'

const jobOf = (outputs: readonly string[], limits = '{ profile: standard }'): Job =>
  parseJob(
    `name: test\nvehicle: { model: test }\nlimits: ${limits}\noutputs:\n${outputs.map((one) => `  - ${one}`).join('\n')}\n`,
    'job.yaml',
  )
const output = (number: number, levelVrms: number, gains = 'left: 1, right: 0'): string =>
  `{ number: ${number}, label: out ${number}, ${gains}, level_vrms: ${levelVrms}, tolerance_db: 0.5 }`
const rigOf = (fullScaleVrms: number, padDb: number, bits = 24): Rig =>
  parseRig(
    `name: test
capture: { driver: simulated, bits: ${bits} }
player: { driver: simulated }
inputs: { count: 4, full_scale_vrms: ${fullScaleVrms}, pad_db: ${padDb}, level_uncertainty_db: 0.2 }
`,
    'rig.yaml',
  )
const planOf = (job: Job, rig: Rig): HeadroomPlan => planHeadroom(job, rig, planPatches(job, rig))
const linesOf = (job: Job, rig: Rig): string[] => planOf(job, rig).lines.map(({ kind, says }) => `${kind} | ${says}`)

/** The rig with own limits on every input. */
function measured(rig: Rig, noiseDbfs: number, thdRatio = 1e-6): Rig {
  const floor = { madeAt: '', noiseDbfs, noiseADbfs: noiseDbfs - 2, noiseU: 0.1, bandHz: [], bandDbfs: [] }
  const loop = { thd: [{ freqHz: 997, ratio: thdRatio, u: 0, isAtMost: false }] } as unknown as OwnLoop
  const own: RigLimits = { floor: { ...floor, humDbfs: -140, isHumAtMost: true }, loop }
  return { ...rig, inputs: rig.inputs.map((input) => ({ ...input, own })) }
}

// Closed form: 6 V peak are 6 / √2 = 4.243 V rms; with 0.5 dB of tolerance 4.494 V. Over 4 V that is 20 lg(4.494 / 4) = 1.01 dB.
test('an output of 6 V peak clips an input of 4 V, and a pad of 3 dB would do', () => {
  const plan = planOf(jobOf([output(1, 6 / Math.SQRT2)]), rigOf(4, 0))
  const [lead] = plan.leads
  expect(lead.highestVrms).toBeCloseTo(4.494, 3)
  expect(lead.marginDb).toBeCloseTo(-1.01, 2)
  expect(lead).toMatchObject({ kind: 'clips', padDbWanted: 3 })
  expect(plan.lines.map(({ says }) => says)).toEqual([
    'Output 1: up to 4.49 V, the input takes 4.00 V: it would clip, by 1.0 dB. A pad of 3 dB would do.',
  ])
})

test('both sides count where an output hears both, whatever their sign', () => {
  const { leads } = planOf(
    jobOf([
      output(1, 2, 'left: 1, right: 1'),
      output(2, 2, 'left: 1, right: -1'),
      output(3, 2, 'left: 0.5, right: 0.5'),
    ]),
    rigOf(10, 0),
  )
  // Closed form: 2 V × 2, 2 V × 2, 2 V × 1, each with 0.5 dB more.
  expect(leads.map(({ highestVrms }) => highestVrms / 10 ** (0.5 / 20))).toEqual([
    expect.closeTo(4, 9),
    expect.closeTo(4, 9),
    expect.closeTo(2, 9),
  ])
})

test('a level within the uncertainty of full scale may clip', () => {
  // 3.75 V with 0.5 dB more is 3.972 V: 0.06 dB below 4 V, which is known to 0.2 dB.
  expect(linesOf(jobOf([output(1, 3.75)]), rigOf(4, 0))).toEqual([
    'may clip | Output 1: up to 3.97 V, the input takes 4.00 V, give or take its uncertainty: it may clip. A pad of 3 dB would do.',
  ])
})

test('outputs of which the same is to be said share a line, and a pad that is there is exchanged', () => {
  const job = jobOf([output(1, 8), output(2, 8), output(3, 8), output(4, 1)])
  // 4 V behind 3 dB take 5.65 V; 8 V with 0.5 dB more are 8.47 V: 3.5 dB too much, 6.5 dB are wanted, and 1 dB of room.
  expect(linesOf(job, rigOf(4, 3))).toEqual([
    'clips | Outputs 1 to 3: up to 8.47 V, the input takes 5.65 V: it would clip, by 3.5 dB. A pad of 10 dB in place of 3 dB would do.',
  ])
})

test('where no usual pad is enough, it says so', () => {
  const [line] = planOf(jobOf([output(1, 10)]), rigOf(0.05, 0)).lines
  expect(line.says).toContain('No usual pad is enough: is this a line output?')
})

describe('noise', () => {
  // The standard profile: -75 dBV, -80 dBV(A). 2 V full scale is +6.02 dBV.
  test('of a card that stands 10 dB below the limit takes part in the figure', () => {
    const job = jobOf([output(1, 1)])
    const kinds = [-91.9, -90.9].map((noiseDbfs) => planOf(job, measured(rigOf(2, 0), noiseDbfs)).leads[0])
    // -91.9 + 6.02 = -85.9 dBV, 10.9 dB below -75; A: -93.9 + 6.02 = -87.9 dBV(A), 7.9 dB below -80.
    expect(kinds[0].limited).toEqual(['noise A'])
    // -84.9 dBV: 9.9 dB below.
    expect(kinds[1].limited).toEqual(['noise', 'noise A'])
    expect(kinds[1].floorDbv).toBeCloseTo(-84.88, 2)
    expect(planOf(job, measured(rigOf(2, 0), -110)).leads[0]).toMatchObject({ kind: 'fine', limited: [] })
  })

  test('that a smaller pad would lower names that pad', () => {
    // 1 V behind 20 dB takes 10 V, +20 dBV: the noise stands at -80 dBV. 2 V need 6.5 dB and 1 dB of room.
    expect(linesOf(jobOf([output(1, 2)]), measured(rigOf(1, 20), -100))).toEqual([
      'noisy | Output 1: noise, A-weighted noise can be told as "at most" only. The rig\'s own noise or distortion stands too near the limit (noise −80 dBV). With a pad of 10 dB in place of 20 dB the rig\'s own noise would be 10 dB lower.',
    ])
  })

  // Closed form: TPDF dither of 16 bits leaves -93.3 dBFS (Lipshitz, Wannamaker, Vanderkooy 1992), of 24 bits -141.5 dBFS.
  test('of an ideal converter counts where the card was not measured', () => {
    const floors = [16, 24, 32].map((bits) => planOf(jobOf([output(1, 1)]), rigOf(1, 0, bits)).leads[0])
    expect(floors.map(({ floorDbv }) => Number(floorDbv.toFixed(1)))).toEqual([-93.3, -141.5, -141.5])
    expect(floors.every(({ isFloorMeasured }) => !isFloorMeasured)).toBe(true)
    const [line] = planOf(jobOf([output(1, 5)]), rigOf(10, 0, 16)).lines
    expect(line.says).toContain('Even an ideal converter of its bits stands too near the limit (noise −73 dBV)')
  })

  test('and distortion of the rig limit THD and THD+N', () => {
    // 0.05 % own THD against limits of 0.1 % and 0.3 %: 6 dB and 15.6 dB below.
    const [lead] = planOf(jobOf([output(1, 1)]), measured(rigOf(2, 0), -110, 5e-4)).leads
    expect(lead.limited).toEqual(['thd'])
    // 0.2 % stands over the first and 3.5 dB below the second.
    expect(planOf(jobOf([output(1, 1)]), measured(rigOf(2, 0), -110, 2e-3)).leads[0].limited).toEqual(['thd', 'thd+n'])
    // A quiet output: 10 mV less 3 dB is -43 dBV; own noise of -94 dBV stands at -51 dB of it, the limit at -50.5 dB.
    expect(planOf(jobOf([output(1, 0.01)]), measured(rigOf(2, 0), -100)).leads[0].limited).toEqual(['thd+n'])
  })
})

test('a much smaller pad that would do is worth a note, a little smaller one is not', () => {
  expect(linesOf(jobOf([output(1, 1)]), rigOf(4, 10))).toEqual([
    "note | Output 1: up to 1.06 V, the input takes 12.6 V. Without its pad of 10 dB the rig's own noise would be 10 dB lower.",
  ])
  expect(linesOf(jobOf([output(1, 4)]), rigOf(4, 6))).toEqual([])
})

test('what clips comes before what is noisy', () => {
  const job = jobOf([output(1, 1), output(2, 9)])
  expect(planOf(job, measured(rigOf(4, 0), -90)).lines.map(({ kind, outputs }) => [kind, outputs])).toEqual([
    ['clips', [2]],
    ['noisy', [1]],
  ])
})
