/**
 * The parts that every result is made of: figures, checks and findings.
 *
 * Numbers carry their unit in a field of their own, because a figure's unit is part of the figure.
 */
import { z } from 'zod'

export const Verdict = z.enum(['pass', 'fail', 'unsure'])
export type Verdict = z.infer<typeof Verdict>

export const UNITS = [
  'V',
  'dBV',
  'dBV(A)',
  'dBV(C)',
  'dBFS',
  'dB',
  'dB/octave',
  '%',
  's',
  'Hz',
  'ppm',
  'A',
  'Ω',
  'W',
  'day',
  '',
] as const

/** One measured number. */
export const Figure = z.object({
  quantity: z.string().describe('What was measured: level, polarity, thd …'),
  value: z.number().nullable().describe('null where nothing could be read'),
  unit: z.enum(UNITS),
  u: z.number().nullable().describe('Expanded uncertainty (k = 2) in the same unit; null where it is not known'),
  budget: z
    .array(z.object({ source: z.string(), u: z.number().describe('Standard uncertainty in the same unit') }))
    .describe('What the uncertainty is made of; u is twice the root of the sum of squares (GUM)'),
  isAtMost: z.boolean().describe('The true value is this or less: the rig or the noise allows no lower reading'),
  isAtLeast: z.boolean().describe('The true value is this or more: the track or the rig allows no higher reading'),
  freqHz: z.number().nullable().describe('Where it was read, for figures that belong to a frequency'),
  method: z.string().describe('Name and version of the way it was measured'),
})
export type Figure = z.infer<typeof Figure>

/** How a check says that another finding accounts for it; a view may then leave it to that finding. */
export const BECAUSE_OF = 'Because of output'

/** A figure held against a limit. */
export const Check = z.object({
  name: z
    .string()
    .describe(
      'level, pair balance, polarity, identity, response, delay, thd, thd+n, noise, hum, crosstalk, intermodulation …',
    ),
  verdict: Verdict,
  figure: Figure.nullable(),
  expected: z.string().describe('What the job asks, in words with units: 1.00 V ± 1.0 dB'),
  measured: z.string().describe('What was found, in words with units'),
  why: z.string().describe('Why it is unsure or failed; empty for a pass'),
})
export type Check = z.infer<typeof Check>

export const FINDING_KINDS = [
  'dead',
  'weak',
  'strong',
  'volume',
  'swapped',
  'alike',
  'inverted',
  'summed',
  'band-split',
  'equalised',
  'noisy',
  'humming',
  'distorted',
  'leaking',
  'late',
  'unbalanced',
  'muting',
  'clipped capture',
  'tone control',
  'loudness',
  'whining',
  'interrupted',
  'limited',
  'time-variant',
  'lossy source',
  'sum',
  'rig',
  'pin',
  'not flat',
  'gain',
  'chime',
  'engine',
  'standby',
] as const

export const Finding = z.object({
  kind: z.enum(FINDING_KINDS),
  verdict: Verdict.describe('fail: it is wrong. unsure: it could not be settled. pass: worth knowing, stops nothing'),
  outputs: z.array(z.number().int()).describe('Numbers of the outputs that it concerns'),
  title: z.string().describe('Short: Output 5 rear left is inverted'),
  because: z.string().describe('Why we think so, with figures'),
  next: z.string().describe('What to do next, as an instruction'),
})
export type Finding = z.infer<typeof Finding>
