/**
 * Where an amplifier's gain belongs: volts in, volts out, and what its gain can reach.
 *
 * Volts are rms of a sine. Ohm's law, P = V² / R, with the rated load. Overlap is how far below full scale a recording is loud:
 * the amplifier reaches rated power there, and is overdriven by as much at full scale.
 */
import type { AmplifierSpec } from '../job/gains.js'
import { DB_PER_NEPER, dbFromRatio, ratioFromDb } from '../units/level.js'
import { type Estimate, estimate } from './estimate.js'

export const TARGET_METHOD = 'output volts for rated power, root of power times load/1'
export const SENSITIVITY_METHOD = 'input volts at the overlap, from the volts for full scale/1'

/** Output volts for rated power: V = √(P R). 75 W into 4 Ω: √300 = 17.32 V. 300 W into 2 Ω: √600 = 24.49 V. */
export const ratedVrms = ({ ratedW, loadOhm }: Pick<AmplifierSpec, 'ratedW' | 'loadOhm'>): number =>
  Math.sqrt(ratedW * loadOhm)

/** Input volts when the recording is at the overlap: V0 × 10^(overlap / 20). 2 V and -10 dB: 0.632 V; -5 dB: 1.125 V. */
export const inputVrmsAt = (fullScaleVrms: number, overlapDb: number): number => fullScaleVrms * ratioFromDb(overlapDb)

/** Power into a load: P = V² / R. 17.32 V at 4 Ω: 75 W. */
export const powerW = (vrms: number, loadOhm: number): number => (vrms * vrms) / loadOhm

/**
 * Output volts that an amplifier has at an input: V_out = √(P R) × V_in / sensitivity. 75 W into 4 Ω, sensitivity 1 V, 0.5 V in:
 * 8.66 V, which is 18.75 W.
 */
export const outputVrmsAt = (rated: number, inputVrms: number, sensitivityVrms: number): number =>
  (rated * inputVrms) / sensitivityVrms

export interface GainTarget {
  /** √(P R). */
  readonly ratedVrms: number
  /** Volts at its input for a full-scale source at the volume that is set, and at the overlap: the sensitivity to set. */
  readonly fullScaleVrms: number
  readonly wantedVrms: Estimate
  /** What its gain can do of it. */
  readonly setVrms: number
  readonly reach: 'within' | 'too little input' | 'too much input'
  /** What the meter should read at the terminals with a tone at the overlap. */
  readonly terminalVrms: number
  /** Attenuation in front of it that would bring the input into reach; 0 where it is. */
  readonly padDb: number
}

/**
 * @param fullScaleVrms volts at its input for a full-scale source
 * @param inputU relative standard uncertainties of them, by what they come from
 */
export function gainTarget(
  spec: AmplifierSpec,
  fullScaleVrms: number,
  inputU: Readonly<Record<string, number>> = {},
): GainTarget {
  const rated = ratedVrms(spec)
  const wanted = inputVrmsAt(fullScaleVrms, spec.overlapDb)
  const { min, max } = spec.sensitivityVrms ?? { min: 0, max: Number.POSITIVE_INFINITY }
  const setVrms = Math.min(max, Math.max(min, wanted))
  return {
    ratedVrms: rated,
    fullScaleVrms,
    wantedVrms: estimate(
      wanted,
      Object.fromEntries(Object.entries(inputU).map(([source, u]) => [source, u * wanted])),
      SENSITIVITY_METHOD,
    ),
    setVrms,
    reach: wanted < min ? 'too little input' : wanted > max ? 'too much input' : 'within',
    terminalVrms: outputVrmsAt(rated, wanted, setVrms),
    padDb: wanted > max ? dbFromRatio(wanted / max) : 0,
  }
}

/**
 * Terminal volts against the target, dB.
 * @param meterU what the meter may be off by at this reading, volts, as its data sheet says it: taken as rectangular (GUM 4.3.7)
 */
export const settingOffDb = (readVrms: number, targetVrms: number, meterU: number, freqHz: number): Estimate =>
  estimate(
    dbFromRatio(Math.max(readVrms, 1e-6) / targetVrms),
    { 'meter specification': (DB_PER_NEPER * meterU) / Math.sqrt(3) / Math.max(readVrms, meterU, 1e-6) },
    'terminal volts by the meter over the target/1',
    { freqHz },
  )
