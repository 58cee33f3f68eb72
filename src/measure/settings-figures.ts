/** What takes at other settings tell of an output: another volume, and the engine running. */
import { type OutputSpec, volumeOf } from '../job/job.js'
import { fullScaleAtLead, type RigInput } from '../rig/rig.js'
import { dbFromRatio } from '../units/level.js'
import { ENGINE_NOISE_METHODS, type EngineNoise, engineNoise, type Whine } from './engine-noise.js'
import { dbFromRelative, type Estimate, estimate } from './estimate.js'
import { heardOf } from './heard.js'
import type { LeadData } from './lead.js'
import { calibrationBudget } from './rig-reach.js'
import { VOLUME_METHOD, type VolumeChange, volumeChanges } from './volume.js'

export interface EngineFigures {
  /** The series that only the running engine brings, all its lines together; null where there is none. */
  readonly whineDbv: Estimate | null
  readonly whine: Whine | null
  /** How far the noise rises when the engine runs; null over digital silence. */
  readonly riseDb: Estimate | null
}

export interface VolumeFigures {
  /** As the head unit shows it. */
  readonly volume: number
  readonly change: VolumeChange
  /** Level against the reference take. */
  readonly levelChangeDb: Estimate
  /** Largest change of the response's shape, dB over that of the middle. */
  readonly loudnessDb: Estimate
}

export interface SettingsFigures {
  readonly engine: EngineFigures | null
  /** By volume, lowest first; empty where no take at another volume was made. */
  readonly volumes: readonly VolumeFigures[]
}

export const NO_SETTINGS: SettingsFigures = { engine: null, volumes: [] }

/** @param heard the map entry with the sides as the output does hear them */
export const settingsFigures = (lead: LeadData, heard: OutputSpec): SettingsFigures => ({
  engine: engineFigures(lead),
  volumes: volumeFigures(lead, heard),
})

function engineFigures({ analysis, input, others }: LeadData): EngineFigures | null {
  const running = others.get('engine_running')
  if (!running?.silence) return null
  return engineFiguresOf(engineNoise(running.silence, running.samplesPerS, running.idle, analysis.idle), input)
}

/** In volts at the lead. */
export function engineFiguresOf({ whine, riseDb, riseDbU }: EngineNoise, input: RigInput): EngineFigures {
  return {
    whine,
    whineDbv:
      whine &&
      estimate(
        dbFromRatio(whine.rmsFs * fullScaleAtLead(input)),
        { ...calibrationBudget(input), averaging: dbFromRelative(whine.relativeU) },
        ENGINE_NOISE_METHODS.whine,
        { freqHz: Math.sqrt(whine.lowHz * whine.highHz) },
      ),
    riseDb: riseDb === null ? null : estimate(riseDb, { averaging: riseDbU }, ENGINE_NOISE_METHODS.rise),
  }
}

function volumeFigures({ analysis, others }: LeadData, heard: OutputSpec): VolumeFigures[] {
  const taken = [...others].flatMap(([setting, other]) => {
    const volume = volumeOf(setting)
    return volume === null ? [] : [{ volume, other }]
  })
  if (taken.length === 0) return []
  taken.sort((a, b) => a.volume - b.volume)
  const responseOf = (from: LeadData['analysis']) => heardOf(from.transfer, heard.leftGain, heard.rightGain)
  const steps = [
    { setting: 'reference', response: responseOf(analysis) },
    ...taken.map(({ volume, other }) => ({ setting: `${volume}`, response: responseOf(other) })),
  ]
  const [lowHz, highHz] = [Math.max(20, heard.lowHz ?? 20), Math.min(20_000, heard.highHz ?? 20_000)]
  return volumeChanges(steps, lowHz, highHz).map((change, k) => {
    const most = change.shape.reduce((top, point) => (Math.abs(point.liftDb) > Math.abs(top.liftDb) ? point : top))
    return {
      volume: taken[k].volume,
      change,
      levelChangeDb: estimate(change.levelChangeDb, { noise: change.levelChangeU }, VOLUME_METHOD),
      // Noise alone lifts one third octave of many: only where a stretch is lifted is it a curve.
      loudnessDb: estimate(
        change.hasLoudness ? Math.abs(most.liftDb) : 0,
        { noise: most.liftU },
        'loudness: largest change of shape/1',
        { freqHz: most.freqHz },
      ),
    }
  })
}
