/**
 * The modelled amplifiers: each adds what its outputs give, times a gain that hands set, and clips at its supply.
 *
 * A channel that nobody touched has its gain fully down, as the job asks for before anything is played.
 */
import type { Job } from '../job/job.js'
import { ratioFromDb } from '../units/level.js'
import type { AmplifierFault } from './fault-amplifiers.js'

export interface AmplifierModel {
  readonly outputNumbers: readonly number[]
  /** √(P R). */
  readonly ratedVrms: number
  /** Input volts for rated output with the gain fully down. */
  readonly downVrms: number
  readonly gainErrorDb: number
  readonly clipVpk: number
  readonly isDead: boolean
}

/** Amplifier terminals as they are during a take, and where an attenuated lead brings them. */
export interface Terminal {
  readonly outputNumbers: readonly number[]
  readonly gain: number
  readonly clipVpk: number
  readonly onInput: { readonly inputNumber: number; readonly padDb: number } | null
}

/** A healthy amplifier has a little more than it is rated for. Common practice, no source. */
const HEADROOM = 1.25
/** Gain fully down, where the job gives no range. Common practice, no source. */
const DOWN_VRMS = 8

export const amplifierModels = (
  job: Job,
  faults: ReadonlyMap<string, AmplifierFault>,
): ReadonlyMap<string, AmplifierModel> =>
  new Map(
    job.amplifiers.map(({ name, outputs, ratedW, loadOhm, sensitivityVrms }) => {
      const fault = faults.get(name)
      return [
        name,
        {
          outputNumbers: outputs,
          ratedVrms: Math.sqrt(ratedW * loadOhm),
          downVrms: sensitivityVrms?.max ?? DOWN_VRMS,
          gainErrorDb: fault?.gainErrorDb ?? 0,
          clipVpk: Math.sqrt(2 * loadOhm * (fault?.clipsAtW ?? HEADROOM * ratedW)),
          isDead: fault?.isDead ?? false,
        },
      ]
    }),
  )

/** @param inputVrms input voltage for rated output to which a person means to set it; undefined: gain fully down */
export function terminalOf(
  { outputNumbers, ratedVrms, downVrms, gainErrorDb, clipVpk, isDead }: AmplifierModel,
  inputVrms: number | undefined,
  onInput: Terminal['onInput'],
): Terminal {
  const gain = inputVrms === undefined ? ratedVrms / downVrms : (ratedVrms / inputVrms) * ratioFromDb(gainErrorDb)
  return { outputNumbers, gain: isDead ? 0 : gain, clipVpk, onInput }
}
