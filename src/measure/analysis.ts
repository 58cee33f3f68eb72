/**
 * What one input of a take tells, before it is known which output it is: the shapes between analysis and identity.
 *
 * Amplitudes here are fractions of the capture's full scale (peak); volts come in with the rig, in `figures.ts`.
 */

/** Place and speed of the track in a take. */
export interface Located {
  /** Sample position (fractional) of the track's first sample. */
  readonly startSample: number
  /** Capture samples for each second of track: sample rate times the clock ratio. */
  readonly samplesPerS: number
  readonly clockOffsetPpm: number
  /** Expanded uncertainty (k = 2) of the clock offset. */
  readonly clockOffsetPpmU: number
  readonly revision: number
  /** 0 to 1: normalised correlation of the weakest of the four chirps. */
  readonly match: number
}

/**
 * Complex response of one input to both source sides on one frequency grid (player's Hz). Phases refer to the
 * located start of the track, which is the same for every input of a take.
 */
export interface Transfer {
  readonly freqHz: Float64Array
  readonly leftRe: Float64Array
  readonly leftIm: Float64Array
  readonly rightRe: Float64Array
  readonly rightIm: Float64Array
  /** Rms error of each complex value, from a quiet stretch of the response. */
  readonly leftError: Float64Array
  readonly rightError: Float64Array
  /** Where the response is largest, against the located start: a first guess of its delay. */
  readonly centreS: number
}

/** Delay and sign that are left when the minimum-phase part is taken off. */
export interface ExcessPhase {
  readonly delayS: number
  readonly delayU: number
  readonly sign: 1 | -1
  /** 1: all in phase with the sign; 0: nothing can be said. */
  readonly confidence: number
  /** The best fit with the opposite sign; the sign stands only where this is clearly lower. */
  readonly rival: number
}

export interface ToneReading {
  readonly freqHz: number
  readonly peakFs: number
  /** Harmonics 2 and up (peak, fraction of full scale), as far as the band reaches. */
  readonly harmonicsFs: readonly number[]
  /** Rms sum of the harmonics over the fundamental. */
  readonly thdRatio: number
  /** Same, as far as noise alone would give it. */
  readonly thdRatioFloor: number
  /** Everything but the fundamental, 20 Hz to 20 kHz, over the total (AES17-2015 6.3.1; bins removed, no notch). */
  readonly thdNRatio: number
}

export interface NoiseReading {
  /** Rms, fraction of full scale of a sine's rms: 1 is a full-scale sine. 20 Hz to 20 kHz. */
  readonly unweightedFs: number
  readonly aWeightedFs: number
  /** Relative standard uncertainty of both, from the number of averages; lines do not count, they are steady. */
  readonly relativeU: number
  /** Third-octave bands at the standard's exact centres. */
  readonly bandHz: readonly number[]
  readonly bandFs: readonly number[]
  /** Mains series, if one stands out: its fundamental and rms sum. */
  readonly hum: {
    readonly freqHz: number
    readonly rmsFs: number
    readonly aWeightedFs: number
    /** Relative standard uncertainty, from what lies around the lines. */
    readonly relativeU: number
    readonly lineHz: readonly number[]
  } | null
  /** Rms sum of the mains multiples, whether or not they stand out: what hum is at most. */
  readonly humFloorFs: number
  /** Peak of the tone that was taken out; null where none was. */
  readonly tonePeakFs: number | null
  /** Single lines that stand out and are no mains series. */
  readonly lines: readonly { readonly freqHz: number; readonly rmsFs: number }[]
}

export interface InputAnalysis {
  readonly transfer: Transfer
  readonly left: ExcessPhase | null
  readonly right: ExcessPhase | null
  readonly tones: readonly ToneReading[]
  readonly idle: NoiseReading
  /** The same with a quiet tone playing, the tone taken out. */
  readonly present: NoiseReading
  /** Samples at full scale, and the largest one, in the sections that figures are read from. */
  readonly clippedSampleCount: number
  readonly peakFs: number
}
