/** What is wrong with a response: another band than the map's, or a band that is not flat. */
import type { Job } from '../job/job.js'
import type { OutputMeasures } from '../measure/outputs.js'
import { type Mask, maskFor } from '../measure/response.js'
import { inDb, inHz } from '../units/words.js'
import { worstPlace } from './checks.js'
import { verdictOf } from './judged.js'
import type { Check, Finding } from './parts.js'

export function responseFindings(
  measures: OutputMeasures,
  checks: readonly Check[],
  job: Job,
  name: string,
): Finding[] {
  const verdict = verdictOf(checks, 'response')
  const { spec, passband, lead, response } = measures
  const place = worstPlace(measures, job.limits.flatnessDbMax)
  if (verdict === 'pass' || !passband || !response || !place) return []
  const outputs = [lead.outputNumber]
  const octaves = (a: number | null, b: number | null, missing: number): number =>
    Math.log2((a ?? missing) / (b ?? missing))
  const lowOff = octaves(passband.lowHz, spec.lowHz, 20)
  const highOff = octaves(passband.highHz, spec.highHz, 20_000)
  const bandWords = (lowHz: number | null, highHz: number | null): string =>
    lowHz === null && highHz === null ? 'the full range' : `${inHz(lowHz ?? 20)} to ${inHz(highHz ?? 20_000)}`
  // A shelf is 3 dB down somewhere too, but it levels off; a filter goes on.
  const inBand = response.levelDb.filter(
    (_, i) => response.freqHz[i] >= (passband.lowHz ?? 0) && response.freqHz[i] <= (passband.highHz ?? 1e5),
  )
  const inBandDb = inBand.sort((a, b) => a - b)[inBand.length >> 1] ?? 0
  const fallsAway = (isBeyond: (freqHz: number) => boolean): boolean =>
    response.levelDb.some((levelDb, i) => isBeyond(response.freqHz[i]) && levelDb < inBandDb + LEVELS_OFF_DB)
  const isLowCut = lowOff < -0.5 || (lowOff > 0.5 && fallsAway((hz) => hz < passband.lowHz!))
  const isHighCut = highOff > 0.5 || (highOff < -0.5 && fallsAway((hz) => hz > passband.highHz!))
  if (isLowCut || isHighCut) {
    const isNarrower = lowOff > 0.5 || highOff < -0.5
    return [
      {
        kind: 'band-split',
        verdict,
        outputs,
        title: isNarrower
          ? `${name} is band-split: it carries only ${bandWords(passband.lowHz, passband.highHz)}`
          : `${name} is not band-split as it should be: it carries ${bandWords(passband.lowHz, passband.highHz)}`,
        because: `The map gives it ${bandWords(spec.lowHz, spec.highHz)}; corners are where it is 3 dB down.`,
        next: isNarrower
          ? "Switch the crossover of this output off in the interface's set-up, or sum it with the output that carries the rest."
          : `${spec.lowHz === null ? '' : 'Do not connect a tweeter to it. '}Check which crossover the interface is set to for this vehicle.`,
      },
    ]
  }
  const mask = maskFor(spec, job.limits.flatnessDbMax, response.freqHz)
  const peak = worstDeviation(response, mask, job.limits.flatnessDbMax) ?? place
  const outside = response.freqHz.filter((_, i) => {
    const [levelDb, min, max] = [response.levelDb[i], mask.minDb[i], mask.maxDb[i]]
    return (min !== null && levelDb < min) || (max !== null && levelDb > max)
  })
  const span = outside.length > 1 ? `, outside its mask from ${inHz(outside[0])} to ${inHz(outside.at(-1)!)}` : ''
  return [
    {
      kind: 'equalised',
      verdict,
      outputs,
      title: `${name} is equalised: ${inDb(peak.levelDb)} at ${inHz(peak.freqHz)}`,
      because: `Against the middle of its band${span}; limit ± ${job.limits.flatnessDbMax} dB.`,
      next: 'Set bass, treble, loudness and sound effects to zero and take it again; what is left belongs to the factory tuning and has to be undone in the processor.',
    },
  ]
}

/** Beyond a corner a response that stays above this levels off: a tone control, not a filter. */
const LEVELS_OFF_DB = -15

/** Largest deviation, where it is outside its mask, from the middle level of the part that should be flat. */
function worstDeviation(
  response: NonNullable<OutputMeasures['response']>,
  mask: Mask,
  toleranceDb: number,
): { freqHz: number; levelDb: number } | null {
  const points = response.levelDb.map((levelDb, i) => ({
    freqHz: response.freqHz[i],
    levelDb,
    min: mask.minDb[i] ?? Number.NEGATIVE_INFINITY,
    max: mask.maxDb[i] ?? Number.POSITIVE_INFINITY,
  }))
  const flat = points.filter(({ min }) => min >= -toleranceDb - 1e-9)
  if (flat.length === 0) return null
  // The reference itself may be what is off: then everything else is outside, and the middle tells which.
  const middleDb = flat.map(({ levelDb }) => levelDb).sort((a, b) => a - b)[flat.length >> 1]
  const isOutside = ({ levelDb, min, max }: (typeof points)[number]): boolean =>
    levelDb - middleDb < min || levelDb - middleDb > max
  const outside = points.filter(isOutside)
  if (outside.length === 0) return null
  const peak = outside.reduce((most, point) =>
    Math.abs(point.levelDb - middleDb) > Math.abs(most.levelDb - middleDb) ? point : most,
  )
  return { freqHz: peak.freqHz, levelDb: peak.levelDb - middleDb }
}
