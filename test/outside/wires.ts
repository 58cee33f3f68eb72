/** A vehicle made of sox effects: what each output should carry, as a job says it, and the chain that makes it so. */
import { sox, type Workshop } from './outside.js'

/** One output; whatever is left out is full range, normal polarity, no delay. */
export interface Wire {
  readonly number: number
  readonly label: string
  readonly left: number
  readonly right: number
  readonly lowHz?: number
  readonly highHz?: number
  /** Capture full scale over source full scale. */
  readonly gain: number
  readonly isInverted?: boolean
  readonly delayS?: number
  readonly pair?: string
}

export const FULL_SCALE_VRMS = 4
export const levelVrms = (wire: Wire): number => wire.gain * FULL_SCALE_VRMS

export interface TrackFormat {
  readonly sampleRateHz: 44_100 | 48_000
  readonly bits: 16 | 24
}

/** Text of the job file that expects these wires. */
export function jobText(wires: readonly Wire[], track: TrackFormat, limits = ''): string {
  const entries = wires.map((wire) => {
    const { number, label, left, right, lowHz, highHz, isInverted, delayS, pair } = wire
    const band = [lowHz ? `low_hz: ${lowHz}` : '', highHz ? `high_hz: ${highHz}` : ''].filter(Boolean).join(', ')
    const parts = [
      `number: ${number}`,
      `label: ${label}`,
      `left: ${left}`,
      `right: ${right}`,
      `level_vrms: ${levelVrms(wire)}`,
      band && `band: { ${band} }`,
      isInverted && 'polarity: inverted',
      delayS && `delay_ms: ${1000 * delayS}`,
      pair && `pair: ${pair}`,
    ]
    return `  - { ${parts.filter(Boolean).join(', ')} }`
  })
  return `name: Outputs made by sox
vehicle: { maker: Velmora, model: Quillon }
track: { sample_rate_hz: ${track.sampleRateHz}, bits: ${track.bits} }
limits: { profile: standard${limits} }
outputs:
${entries.join('\n')}
`
}

/** Text of a rig file for recordings of so many inputs. */
export const rigText = (inputCount: number): string => `name: A recorder
capture: { driver: recording }
player: { driver: none }
inputs: { count: ${inputCount}, full_scale_vrms: ${FULL_SCALE_VRMS}, level_uncertainty_db: 0.1 }
`

/** Fourth-order Butterworth of two sections: Q 1 / (2 cos(pi / 8)) and 1 / (2 cos(3 pi / 8)). */
const fourthOrder = (kind: 'highpass' | 'lowpass', freqHz: number): string[] =>
  [1, 3].flatMap((k) => [kind, '-2', String(freqHz), `${0.5 / Math.cos((k * Math.PI) / 8)}q`])

/** Effects that make one wire out of the stereo track. */
export function effectsOf(wire: Wire): string[] {
  const { left, right, lowHz, highHz, gain, isInverted, delayS } = wire
  const sides = [left && `1v${left * gain}`, right && `2v${right * gain}`].filter(Boolean).join(',')
  return [
    'remix',
    sides,
    ...(lowHz ? fourthOrder('highpass', lowHz) : []),
    ...(highHz ? fourthOrder('lowpass', highHz) : []),
    ...(isInverted ? ['vol', '-1'] : []),
    ...(delayS ? ['pad', String(delayS)] : []),
  ]
}

/**
 * A take of several wires: each is made by its effects, all go into one file, and the effects of the whole take come
 * last.
 *
 * Between the two steps samples are floating point, so only the take's own word is rounded.
 */
export function record(
  workshop: Workshop,
  trackPath: string,
  wires: readonly (readonly string[])[],
  takeName: string,
  takeEffects: readonly string[],
): string {
  const paths = wires.map((effects, k) => {
    const path = workshop.at(`${takeName}-wire-${k + 1}.wav`)
    sox(trackPath, '-b', '32', '-e', 'float', path, ...effects)
    return path
  })
  const take = workshop.at(takeName)
  sox(...(paths.length > 1 ? ['-M'] : []), ...paths, '-b', '24', '-e', 'signed', take, ...takeEffects)
  return take
}
