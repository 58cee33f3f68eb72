/**
 * Shapes of what a result holds of one output beside its figures: curves, sections, the staircase, interruptions.
 *
 * All uncertainties here are expanded ones (k = 2), like those of the figures. Arrays of one curve have one length.
 */
import { z } from 'zod'

const numbers = z.array(z.number())
const flags = z.array(z.boolean())

/** A peaking or shelving section, as the Audio EQ Cookbook (W3C) defines gain, frequency and Q. */
export const Section = z.object({
  kind: z.enum(['peaking', 'low shelf', 'high shelf']),
  gainDb: z.number(),
  gainU: z.number(),
  freqHz: z.number(),
  freqU: z.number(),
  q: z.number(),
  qU: z.number(),
  undoGainDb: z.number().describe('Gain of the section of the same kind, frequency and Q that undoes it'),
})
export type Section = z.infer<typeof Section>

export const Equalisation = z.object({
  isExplained: z.boolean().describe('A few sections follow the response; where false, none are listed'),
  sections: z.array(Section),
  leftWorstDb: z.number().describe('Largest deviation that is left when sections and band edges are taken off'),
  leftRmsDb: z.number(),
  processingHz: z.number().describe("Sample rate at which the vehicle's processing is taken to run"),
})

export const BandEdge = z.object({
  freqHz: z.number().describe('Where it is 3.01 dB down'),
  freqU: z.number(),
  slopeDbPerOctave: z.number().nullable().describe('Far out; null where the response does not go far enough down'),
  shape: z.string().nullable().describe('The family of filters that follows it best; null where none does'),
})

export const CrosstalkCurve = z.object({ freqHz: numbers, levelDb: numbers, u: numbers, isAtMost: flags })

export const GroupDelayCurve = z.object({ freqHz: numbers, delayS: numbers, u: numbers })

export const DistortionCurve = z.object({
  freqHz: numbers.describe('Of the fundamental'),
  thdPct: numbers.describe('Over the fundamental, orders 2 to 5 below 20 kHz'),
  u: numbers,
  isAtMost: flags,
  sourceDbfs: z.number().describe('Level of the sweep'),
})

export const Staircase = z.object({
  freqHz: z.number(),
  kind: z.enum(['clean', 'hard clipping', 'soft clipping', 'limiting']),
  sourceDbfs: numbers,
  levelVrms: numbers,
  gainDb: numbers.describe('Against the low steps'),
  thdPct: numbers,
  isAtMost: flags.describe('Whether thdPct is at most'),
})

export const InterruptionResult = z.object({
  kind: z.enum(['dropout', 'repeat', 'click', 'jump', 'disturbance']),
  atSample: z.number().describe('First sample of the take that is not what it should be'),
  atSampleU: z.number(),
  atS: z.number().describe('The same as time in the track'),
  lengthSamples: z.number(),
  lateSamples: z.number().nullable().describe('By how much all that follows comes later; negative: samples were lost'),
  setting: z.string().describe('The take in which it was found'),
  isCommon: z.boolean().describe('All outputs of the take have it'),
})
export type InterruptionResult = z.infer<typeof InterruptionResult>

export const VolumeResult = z.object({
  volume: z.number(),
  levelChangeDb: z.number(),
  levelChangeU: z.number(),
  hasLoudness: z.boolean(),
  shape: z.object({ freqHz: numbers, liftDb: numbers, u: numbers }),
})

export const WhineResult = z.object({
  lowHz: z.number().describe('Lowest and highest frequency of its fundamental while it was heard'),
  highHz: z.number(),
  orders: z.array(z.number()),
  isMoving: z.boolean(),
})

export const Readings = z.object({
  equalisation: Equalisation.nullable(),
  lowEdge: BandEdge.nullable(),
  highEdge: BandEdge.nullable(),
  groupDelay: GroupDelayCurve.nullable(),
  crosstalk: CrosstalkCurve.nullable(),
  distortion: DistortionCurve.nullable(),
  staircase: Staircase.nullable(),
  interruptions: z.array(InterruptionResult),
  volumes: z.array(VolumeResult),
  whine: WhineResult.nullable(),
})
export type Readings = z.infer<typeof Readings>

/** An electrical sum of outputs. */
export const SumResult = z.object({
  name: z.string(),
  outputs: z.array(z.number().int()),
  verdict: z.enum(['pass', 'fail', 'unsure']),
  because: z.string().describe('Why it could not be looked at, or what is wrong; empty for a pass'),
  freqHz: numbers,
  levelDbv: numbers,
  flattestDbv: numbers.describe('With the settings below'),
  worstDb: z.number().nullable(),
  flattestWorstDb: z.number().nullable(),
  settings: z
    .array(
      z.object({
        output: z.number().int(),
        extraDelayS: z.number().nullable(),
        extraDelayU: z.number(),
        gainDb: z.number(),
        gainU: z.number(),
        isTurned: z.boolean(),
      }),
    )
    .describe('What makes the sum flattest, against the first output'),
})
export type SumResult = z.infer<typeof SumResult>

/** Signs of a lossy path between player and head unit. */
export const SourceResult = z.object({
  isLossy: z.enum(['yes', 'no', 'unsure']),
  because: z.array(z.string()),
  bandLimitHz: z.number().nullable(),
})
export type SourceResult = z.infer<typeof SourceResult>
