/** Checks of how clean an output is: distortion, noise, engine, loudness, interruptions. */
import type { Limits } from '../job/job.js'
import type { Estimate } from '../measure/estimate.js'
import type { OutputMeasures } from '../measure/outputs.js'
import type { TimeVariance } from '../measure/time-variance.js'
import { inDb, inDbv, inPct, plain } from '../units/words.js'
import { figureOf, held, type Unit } from './decision.js'
import type { Check } from './parts.js'

const QUIET = 'Take it again with a lower pad, or with the rig known from its own check.'

/** Checks for which nothing was read (no such take, tones outside its band) are left out, but for THD and noise. */
export function cleanChecks(one: OutputMeasures, limits: Limits): Check[] {
  const inA = (value: number): string => `${inDbv(value)}(A)`
  const inDbfs = (value: number): string => `${plain(value, 1)} dBFS`
  const inPlainDb = (value: number): string => `${plain(value, 1)} dB`
  const loudness = one.volumes.map(({ loudnessDb }) => loudnessDb).sort((a, b) => b.value - a.value)[0] ?? null
  const optional = (from: Estimate | null, check: (from: Estimate) => Check): Check[] => (from ? [check(from)] : [])
  return [
    limitCheck('thd', '%', one.thdPct, { max: limits.thdPctMax }, inPct, QUIET),
    limitCheck('thd+n', '%', one.thdNPct, { max: limits.thdNPctMax }, inPct, QUIET),
    ...optional(one.modulationPct, (from) =>
      limitCheck('modulation distortion', '%', from, { max: limits.imdPctMax }, inPct, QUIET),
    ),
    ...optional(one.differencePct, (from) =>
      limitCheck('difference-tone distortion', '%', from, { max: limits.imdPctMax }, inPct, QUIET),
    ),
    ...optional(one.cleanLevelDbfs, (from) =>
      limitCheck('clean level', 'dBFS', from, { min: limits.cleanLevelDbfsMin }, inDbfs, QUIET),
    ),
    ...optional(one.gainChangeDb, (from) =>
      limitCheck('steady gain', 'dB', from, { within: limits.gainChangeDbMax }, inDb, QUIET),
    ),
    limitCheck('noise', 'dBV', one.noiseDbv, { max: limits.noiseDbvMax }, inDbv, QUIET),
    limitCheck('noise A', 'dBV(A)', one.noiseADbv, { max: limits.noiseDbvAMax }, inA, QUIET),
    limitCheck('noise 468', 'dBV', one.noise468Dbv, { max: limits.noise468DbvMax }, inDbv, QUIET),
    ...optional(one.dynamicRangeDb, (from) =>
      limitCheck('dynamic range', 'dB', from, { min: limits.dynamicRangeDbMin }, inPlainDb, QUIET),
    ),
    limitCheck('hum', 'dBV', one.humDbv, { max: limits.humDbvMax }, inDbv, QUIET),
    ...optional(one.engine?.whineDbv ?? null, (from) =>
      limitCheck('whine', 'dBV', from, { max: limits.whineDbvMax }, inDbv, 'Take it again at a steady engine speed.'),
    ),
    ...optional(one.engine?.riseDb ?? null, (from) =>
      limitCheck('noise with the engine', 'dB', from, { max: limits.engineRiseDbMax }, inDb, QUIET),
    ),
    ...optional(loudness, (from) =>
      limitCheck('loudness', 'dB', from, { max: limits.loudnessDbMax }, inDb, 'Take both volumes again.'),
    ),
    ...interruptionCheck(one),
    ...steadinessCheck(one),
  ]
}

/** What comes out differently each time has no response that could be tuned. */
function steadinessCheck({ lead }: OutputMeasures): Check[] {
  const variance = lead.analysis.timeVariance
  if (!variance?.isTimeVariant) return []
  return [
    {
      name: 'time-invariance',
      verdict: 'fail',
      figure: null,
      expected: 'the same signal comes out the same each time',
      measured: varianceSaid(variance),
      why: 'A surround, chorus or widening effect is in the way.',
    },
  ]
}

export function varianceSaid({ ratio, isAtMost, modulation }: TimeVariance): string {
  const share = isAtMost ? [] : [`${plain(10 * Math.log10(ratio), 1)} dB of its energy fits no fixed response`]
  const rate = modulation?.rateHz ? ` at ${plain(modulation.rateHz, 1)} Hz` : ''
  const swing = modulation ? [`a steady tone swings by ${inPct(100 * modulation.levelDepth)}${rate}`] : []
  return [...share, ...swing].join('; ')
}

/** What all outputs share is no output's fault, and is said once. */
function interruptionCheck({ interruptions }: OutputMeasures): Check[] {
  const own = interruptions.filter(({ isCommon }) => !isCommon)
  if (own.length === 0) return []
  const kinds = [...new Set(own.map(({ interruption }) => interruption.kind))]
  return [
    {
      name: 'interruptions',
      verdict: 'fail',
      figure: null,
      expected: 'none',
      measured: `${own.length}: ${kinds.join(', ')}`,
      why: `The first at ${own[0].interruption.atS.toFixed(4)} s of the track.`,
    },
  ]
}

export function limitCheck(
  name: string,
  unit: Unit,
  from: Estimate | null,
  limit: { readonly max: number } | { readonly min: number } | { readonly within: number },
  inWords: (value: number) => string,
  remedy: string,
): Check {
  const expected =
    'within' in limit
      ? `within ± ${limit.within} ${unit}`
      : 'max' in limit
        ? `${inWords(limit.max)} or less`
        : `${inWords(limit.min)} or more`
  if (!from) {
    return {
      name,
      verdict: 'pass',
      figure: null,
      expected,
      measured: 'not measured',
      why: 'No steady tone lies in its band.',
    }
  }
  const bounds = 'within' in limit ? { min: -limit.within, max: limit.within } : limit
  const verdict = held(from.value, from.u, bounds, from)
  return {
    name,
    verdict,
    figure: figureOf(name, unit, from),
    expected,
    measured: `${from.isAtMost ? 'at most ' : from.isAtLeast ? 'at least ' : ''}${inWords(from.value)}`,
    why:
      verdict === 'pass'
        ? ''
        : verdict === 'fail'
          ? `${'max' in limit ? 'Above' : 'min' in limit ? 'Below' : 'Beyond'} its limit.`
          : from.isAtMost || from.isAtLeast
            ? `The rig and the noise allow no better reading. ${remedy}`
            : `The limit lies within the uncertainty. ${remedy}`,
  }
}
