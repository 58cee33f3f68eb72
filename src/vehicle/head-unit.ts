/** The head unit at the setting of a take: gains of both sides, tone and loudness. */
import { volumeOf } from '../job/job.js'
import type { Setting } from '../rig/roles.js'
import { ratioFromDb } from '../units/level.js'
import type { HeadUnitFault } from './fault-source.js'
import type { Section } from './sections.js'

export interface HeadUnitModel extends Omit<HeadUnitFault, 'surround'> {
  /** What its volume reads at the reference take. */
  readonly volumeStep: number | null
  /** The side whose incoherent copy gets into the outputs that hear one. */
  readonly surroundFrom: 'left' | 'right' | null
}

/** What is linear and stands still during a take. */
export interface HeadUnitState {
  readonly leftGain: number
  readonly rightGain: number
  /** Level of a source side above which it is cut off; null: never. */
  readonly clipFs: number | null
  readonly isMono: boolean
  readonly tone: readonly Section[]
}

/** @throws RangeError for a volume where the job has no volume_step */
export function headUnitAt(headUnit: HeadUnitModel, setting: Setting): HeadUnitState {
  const { volumeDb, volumeStepDb, volumeStep, balanceDb, isMono, tone, loudness, clipsAboveVolume } = headUnit
  const volume = volumeOf(setting)
  if (volume !== null && volumeStep === null) throw new RangeError(`headUnitAt: ${setting} without a volume_step`)
  const levelDb = volumeDb + (volume === null ? 0 : volumeStepDb * (volume - volumeStep!))
  const lift = (kind: 'low_shelf' | 'high_shelf', of: 'bass' | 'treble'): Section[] => {
    if (loudness === null) return []
    const { freqHz, atReferenceDb, share } = loudness[of]
    const gainDb = Math.max(0, Math.min(loudness.maxDb, atReferenceDb - share * levelDb))
    return gainDb === 0 ? [] : [{ kind, freqHz, q: Math.SQRT1_2, gainDb }]
  }
  return {
    leftGain: ratioFromDb(levelDb - Math.max(0, balanceDb)),
    rightGain: ratioFromDb(levelDb + Math.min(0, balanceDb)),
    clipFs:
      clipsAboveVolume === null || volumeStep === null
        ? null
        : ratioFromDb(volumeStepDb * (clipsAboveVolume - (volume ?? volumeStep))),
    isMono,
    tone: [...tone, ...lift('low_shelf', 'bass'), ...lift('high_shelf', 'treble')],
  }
}
