/** Faults in time, in the faults file: gaps, blocks that come twice, lost samples, clicks. */
import { z } from 'zod'
import { complain, countField, numberField } from '../document/fields.js'
import { outputsField } from './fault-fields.js'

const atField = numberField(0, 3600)

const Dropout = z.strictObject({
  at_s: atField.describe('Where it begins, from the first sample that is played (s)'),
  duration_ms: numberField(0.02, 60_000).describe('How long it lasts (ms)'),
  outputs: outputsField.describe('Outputs that drop out; all if left out'),
})

const Repeat = z.strictObject({
  at_s: atField.describe('Where the sound before it begins to come again, from the first sample that is played (s)'),
  duration_ms: numberField(0.1, 10_000).describe('How long a block comes again, in place of what should follow (ms)'),
  outputs: outputsField.describe('Outputs that repeat; all if left out'),
})

const Jump = z.strictObject({
  at_s: atField.describe('Where the clock jumps, from the first sample that is played (s)'),
  lost_samples: countField(-48_000, 48_000)
    .superRefine((count, context) => {
      if (count === 0)
        complain(context, [], 'lost_samples is 0', 'Give how many are lost, or below 0 how many are added.')
    })
    .describe('Samples of the capture that are missing from there on; below 0: so many are added, the last ones again'),
  outputs: outputsField.describe('Outputs whose clock jumps; all if left out'),
})

const Click = z.strictObject({
  at_s: atField.describe('Where the first one is, from the first sample that is played (s)'),
  count: countField(1, 999).default(1).describe('How many there are'),
  every_ms: numberField(0.1, 60_000).default(100).describe('From one to the next (ms)'),
  vpk: numberField(-100, 100).default(0.5).describe('Peak of the one sample that each of them is (V)'),
  outputs: outputsField.describe('Outputs that click; all if left out'),
})

export const dropoutsField = z.array(Dropout).max(99).default([]).describe('Gaps in the sound')
export const repeatsField = z.array(Repeat).max(99).default([]).describe('Blocks of sound that are played twice')
export const jumpsField = z.array(Jump).max(99).default([]).describe('Samples lost or added: the clock jumps')
export const clicksField = z.array(Click).max(99).default([]).describe('Clicks')

/** Faults in time of one output. Times are seconds from the first sample that is played. */
export interface TimeFaults {
  readonly dropouts: readonly { readonly atS: number; readonly durationS: number }[]
  /** The sound of this length before atS comes again, in place of what should follow. */
  readonly repeats: readonly { readonly atS: number; readonly durationS: number }[]
  /** Samples of the capture; below 0 they are added. */
  readonly jumps: readonly { readonly atS: number; readonly lostSamples: number }[]
  /** One sample each. */
  readonly clicks: readonly { readonly atS: number; readonly peakV: number }[]
}

/** Those of the whole file: each names the outputs that it hits, null for all. */
export type FileTimeFaults = {
  readonly [Kind in keyof TimeFaults]: readonly (TimeFaults[Kind][number] & {
    readonly outputs: readonly number[] | null
  })[]
}

export function timeFaultsOf(file: {
  readonly dropouts: z.infer<typeof dropoutsField>
  readonly repeats: z.infer<typeof repeatsField>
  readonly jumps: z.infer<typeof jumpsField>
  readonly clicks: z.infer<typeof clicksField>
}): FileTimeFaults {
  return {
    dropouts: file.dropouts.map(stretchOf),
    repeats: file.repeats.map(stretchOf),
    jumps: file.jumps.map((jump) => ({
      atS: jump.at_s,
      lostSamples: jump.lost_samples,
      outputs: jump.outputs ?? null,
    })),
    clicks: file.clicks.flatMap((click) =>
      Array.from({ length: click.count }, (_, k) => ({
        atS: click.at_s + (k * click.every_ms) / 1000,
        peakV: click.vpk,
        outputs: click.outputs ?? null,
      })),
    ),
  }
}

const stretchOf = ({ at_s, duration_ms, outputs }: z.infer<typeof Dropout>) => ({
  atS: at_s,
  durationS: duration_ms / 1000,
  outputs: outputs ?? null,
})
