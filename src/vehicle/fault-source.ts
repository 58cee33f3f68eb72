/** Faults in front of the outputs, in the faults file: the head unit with its source, and the engine. */
import { z } from 'zod'
import { countField, numberField } from '../document/fields.js'
import { eqField, freqField, levelDbvField, OUTPUT_NUMBER_MAX, outputsField, sectionOf } from './fault-fields.js'
import type { Section } from './sections.js'

const Loudness = z.strictObject({
  bass_db: numberField(0, 24).default(0).describe('Lift of the lows at the reference volume (dB)'),
  bass_share: numberField(0, 2).default(0.3).describe('What it grows by for each dB that the volume is lowered (dB)'),
  bass_hz: freqField.default(100).describe('Middle of the slope of the low shelf (Hz)'),
  treble_db: numberField(0, 24).default(0).describe('Lift of the highs at the reference volume (dB)'),
  treble_share: numberField(0, 2).default(0.1).describe('What it grows by for each dB that the volume is lowered (dB)'),
  treble_hz: freqField.default(8000).describe('Middle of the slope of the high shelf (Hz)'),
  max_db: numberField(0, 24).default(12).describe('No lift is larger than this (dB)'),
})

const Limiter = z.strictObject({
  threshold_dbfs: numberField(-80, 0).describe('Peak level of the source above which it lowers the gain (dBFS)'),
  ratio: numberField(1, 1000).default(20).describe('Above it, so many dB more at its input are one more at its output'),
  attack_ms: numberField(0.1, 10_000).default(5).describe('Time constant of lowering the gain (ms)'),
  release_ms: numberField(1, 60_000).default(200).describe('Time constant of raising it again (ms)'),
})

const Surround = z.strictObject({
  from: z.enum(['left', 'right']).describe('Source side that is heard where it should not be'),
  level_db: numberField(-80, 6).describe('Its level against a side that is heard with gain 1 (dB)'),
  outputs: z.array(countField(1, OUTPUT_NUMBER_MAX)).min(1).max(32).describe('Outputs into which it goes'),
})

export const HeadUnit = z.strictObject({
  volume_db: numberField(-80, 20).default(0).describe('Volume against the one that the job expects (dB)'),
  volume_step_db: numberField(0.1, 6).default(1.5).describe('What one step of the volume changes (dB)'),
  clips_above_volume: countField(0, 100)
    .optional()
    .describe(
      'Highest volume at which a full-scale source does not clip; leave out for none (with volume_step in the job)',
    ),
  tone: eqField.describe('Tone controls that are left on'),
  loudness: Loudness.optional().describe('Loudness curve that is left on: lows and highs grow as the volume goes down'),
  mono: z.boolean().default(false).describe('Both sides are summed'),
  balance_db: numberField(-80, 80)
    .default(0)
    .describe('Balance: above 0 the left side is lowered, below 0 the right (dB)'),
  limiter: Limiter.optional().describe('Limiter or automatic gain, both sides together'),
  surround: Surround.optional().describe(
    'Decorrelation: an incoherent, time-variant copy of one side in other outputs',
  ),
  lossy_high_hz: numberField(2000, 22_000)
    .optional()
    .describe('Where a lossy source cuts off steeply (Hz); leave out for none'),
})

export const Engine = z.strictObject({
  whine: z
    .strictObject({
      freq_hz: freqField.describe('Fundamental at the first sample that is played (Hz)'),
      drift_hz: numberField(-2000, 2000).default(0).describe('How much higher it is at the last one (Hz)'),
      harmonic_count: countField(1, 40).default(4).describe('Lines of the series, the fundamental included'),
      level_dbv: levelDbvField.describe('Level of the whole series (dBV)'),
      at_rpm: numberField(100, 10_000)
        .default(800)
        .describe('Engine speed at which the fundamental is freq_hz (turns per minute)'),
    })
    .optional()
    .describe('Whine of the alternator: a series that moves with the engine'),
  noise_dbv: levelDbvField.optional().describe('Noise that is added, rms, 20 Hz to 20 kHz (dBV)'),
  outputs: outputsField.describe('Outputs that get both; all if left out'),
  ripple_vrms: numberField(0, 10).optional().describe('AC of the supply while the engine runs (V rms)'),
  charging_v: numberField(0, 40).optional().describe('Supply while the engine runs (V)'),
})

/** How far a loudness curve lifts, at the reference volume and for each dB below it. */
export interface LoudnessLift {
  readonly freqHz: number
  readonly atReferenceDb: number
  readonly share: number
}

export interface HeadUnitFault {
  readonly volumeDb: number
  readonly volumeStepDb: number
  /** null: at none. */
  readonly clipsAboveVolume: number | null
  readonly tone: readonly Section[]
  readonly loudness: { readonly bass: LoudnessLift; readonly treble: LoudnessLift; readonly maxDb: number } | null
  readonly isMono: boolean
  readonly balanceDb: number
  readonly limiter: {
    readonly thresholdDbfs: number
    readonly ratio: number
    readonly attackS: number
    readonly releaseS: number
  } | null
  readonly surround: {
    readonly from: 'left' | 'right'
    readonly levelDb: number
    readonly outputs: readonly number[]
  } | null
  readonly lossyHighHz: number | null
}

/** What is heard while the engine runs, and only then. */
export interface EngineFault {
  readonly whine: {
    readonly freqHz: number
    readonly driftHz: number
    readonly harmonicCount: number
    readonly levelDbv: number
    readonly atRpm: number
  } | null
  readonly noiseDbv: number | null
  /** null: all. */
  readonly outputs: readonly number[] | null
  /** null: as a healthy vehicle has it. */
  readonly rippleVrms: number | null
  readonly chargingV: number | null
}

export function headUnitOf(file: z.infer<typeof HeadUnit>): HeadUnitFault {
  const { loudness, limiter, surround } = file
  return {
    volumeDb: file.volume_db,
    volumeStepDb: file.volume_step_db,
    clipsAboveVolume: file.clips_above_volume ?? null,
    tone: file.tone.map(sectionOf),
    loudness: loudness
      ? {
          bass: { freqHz: loudness.bass_hz, atReferenceDb: loudness.bass_db, share: loudness.bass_share },
          treble: { freqHz: loudness.treble_hz, atReferenceDb: loudness.treble_db, share: loudness.treble_share },
          maxDb: loudness.max_db,
        }
      : null,
    isMono: file.mono,
    balanceDb: file.balance_db,
    limiter: limiter
      ? {
          thresholdDbfs: limiter.threshold_dbfs,
          ratio: limiter.ratio,
          attackS: limiter.attack_ms / 1000,
          releaseS: limiter.release_ms / 1000,
        }
      : null,
    surround: surround ? { from: surround.from, levelDb: surround.level_db, outputs: surround.outputs } : null,
    lossyHighHz: file.lossy_high_hz ?? null,
  }
}

export function engineOf({ whine, noise_dbv, outputs, ripple_vrms, charging_v }: z.infer<typeof Engine>): EngineFault {
  return {
    whine: whine
      ? {
          freqHz: whine.freq_hz,
          driftHz: whine.drift_hz,
          harmonicCount: whine.harmonic_count,
          levelDbv: whine.level_dbv,
          atRpm: whine.at_rpm,
        }
      : null,
    noiseDbv: noise_dbv ?? null,
    outputs: outputs ?? null,
    rippleVrms: ripple_vrms ?? null,
    chargingV: charging_v ?? null,
  }
}
