/**
 * How the ratio of both clocks walks between the markers, and whether samples are missing: from the steady tones.
 *
 * Late(t) is how late the track is against the even clock that the markers give; it is 0 at both markers. A walk bends it to
 * a parabola; samples that are missing or too many tilt all of it but for one jump. The slope of Late at each tone tells
 * both apart.
 */
import { BETWEEN_S, FIRST_AT_S, LAST_AT_S } from './time-map.js'
import { type Heard, type Listening, stepsHeard, tonesHeard } from './tones-heard.js'

/** Tones up to here are listened for only where none above is well heard. */
const LOW_HZ = 500
const SLOPE_ERROR_GOOD = 1e-7
/** Over the 36 s to the last step this is half of what it settles for. */
const STEPS_SLOPE_MAX = 5e-4
/** Standard deviation of the walk of a pair of clocks within a take, as far as is known beforehand. */
const USUAL_WALK = 5e-6

/** By how much the even clock is off (relative), and how the ratio walks; with their standard errors. */
export interface Line {
  readonly offset: number
  readonly offsetError: number
  readonly walk: number
  readonly walkError: number
}

/** The clock between the markers, if nothing jumps there. */
export interface Walk extends Line {
  /** How much later than the tones allow the closing marker is (s): more than the errors say where samples were added. */
  readonly jumpS: number
  readonly jumpError: number
  /** What offset and walk are if that is so. */
  readonly besideJump: Line
}

/**
 * @param evenError relative standard uncertainty of the even clock
 * @returns null where no tone is heard between the markers
 */
export function walkOf(listening: Listening, evenError: number): Walk | null {
  // Phase is time times frequency: a low tone tells little beside a high one that is well heard.
  const heard = tonesHeard(listening, (freqHz) => freqHz > LOW_HZ)
  if (!heard.some(({ slopeError }) => slopeError < SLOPE_ERROR_GOOD)) {
    heard.push(...tonesHeard(listening, (freqHz) => freqHz <= LOW_HZ))
  }
  if (heard.length === 0) return null
  const best = heard.reduce((a, b) => (b.slopeError < a.slopeError ? b : a))
  // Where much is missing the steps do not stand where the markers put them.
  const steps = Math.abs(best.slope) < STEPS_SLOPE_MAX ? heard.map(({ freqHz }) => freqHz) : []
  for (const freqHz of steps) heard.push(...stepsHeard(listening, freqHz, best.slope))

  const told = withoutStray(heard)
  const free = lineThrough(told, 0, 1 / USUAL_WALK ** 2)
  // The markers say that the offset is 0; and before anything is measured, a walk as crystals do is likely.
  const held = lineThrough(told, 1 / evenError ** 2, 1 / USUAL_WALK ** 2)
  return {
    ...held,
    besideJump: free,
    jumpS: -free.offset * BETWEEN_S,
    jumpError: Math.hypot(free.offsetError, evenError) * BETWEEN_S,
  }
}

/** So many of its own errors from the line through the others a tone is none of the clock's. */
const STRAY_ERRORS = 8

/** Without the tone, if there is one, that does not go with the others: in which one input lost a few samples. */
function withoutStray(heard: readonly Heard[]): readonly Heard[] {
  if (heard.length < 4) return heard
  const left = heard.map((one) => {
    const others = heard.filter((other) => other !== one)
    const line = lineThrough(others, 0, 1 / USUAL_WALK ** 2)
    const errors = (tone: Heard): number =>
      Math.abs(tone.slope - line.offset - line.walk * leverAt(tone.atS)) / tone.slopeError
    return { others, own: errors(one), misfit: others.reduce((sum, other) => sum + errors(other) ** 2, 0) }
  })
  // The one without which the others go together best.
  const stray = left.reduce((a, b) => (b.misfit < a.misfit ? b : a))
  return stray.own > STRAY_ERRORS ? stray.others : heard
}

/**
 * Weighted least squares of slope = offset + walk × lever. The weights given hold offset and walk to 0.
 * Errors are larger where the slopes stray more from the line than their own errors allow.
 */
function lineThrough(heard: readonly Heard[], offsetWeight: number, walkWeight: number): Line {
  let [w, x, xx, y, xy] = [offsetWeight, 0, walkWeight, 0, 0]
  for (const { atS, slope, slopeError } of heard) {
    const weight = 1 / slopeError ** 2
    const lever = leverAt(atS)
    w += weight
    x += weight * lever
    xx += weight * lever * lever
    y += weight * slope
    xy += weight * lever * slope
  }
  // One tone alone cannot tell both: its errors are then as good as infinite.
  const determinant = Math.max(w * xx - x * x, 1e-9 * w * xx)
  const walk = (w * xy - x * y) / determinant
  const offset = (xx * y - x * xy) / determinant
  const heldCount = Number(offsetWeight > 0) + Number(walkWeight > 0)
  const rest = heard.reduce(
    (sum, { atS, slope, slopeError }) => sum + ((slope - walk * leverAt(atS) - offset) / slopeError) ** 2,
    offsetWeight * offset ** 2,
  )
  const stray = Math.sqrt(Math.max(1, rest / Math.max(1, heard.length + heldCount - 2)))
  return {
    offset,
    walk,
    offsetError: stray * Math.sqrt(xx / determinant),
    walkError: stray * Math.sqrt(w / determinant),
  }
}

const leverAt = (tS: number): number => (2 * tS - FIRST_AT_S - LAST_AT_S) / (2 * BETWEEN_S)
