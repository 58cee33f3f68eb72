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
  /** By how much the clocks' ratio grows from the first marker to the last; read by `time-map.ts`. 0 where it is left out. */
  readonly clockDriftPpm?: number
  /** Expanded uncertainty (k = 2) of the drift. */
  readonly clockDriftPpmU?: number
  /** By how much everything comes later after some place between the markers (s), on most inputs; 0 where it is left out. */
  readonly clockJumpS?: number
  readonly revision: number
  /** 0 to 1: normalised correlation of the weakest of the four chirps. */
  readonly match: number
  /** How often the whole track is in the take; 1 where it is left out. */
  readonly trackCount?: number
  /** Which of them this is, from 1. */
  readonly trackNumber?: number
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
  /** Standard uncertainty of peakFs from noise, in the same unit. */
  readonly peakFsU: number
  /** Harmonics 2 and up (peak, fraction of full scale), as far as the band reaches; noise is taken off their power. */
  readonly harmonicsFs: readonly number[]
  /** Standard uncertainty of each, in the same unit; 0 where the value is a bound. */
  readonly harmonicsU: readonly number[]
  /** Where noise hides a harmonic, its value is the most that it can be. */
  readonly harmonicsAtMost: readonly boolean[]
  /** Rms sum of the harmonics over the fundamental, free of noise; where thdIsAtMost, the most that it can be. */
  readonly thdRatio: number
  /** Standard uncertainty of thdRatio, absolute (in the unit of the ratio); 0 where it is a bound. */
  readonly thdRatioU: number
  readonly thdIsAtMost: boolean
  /** The same over the total in place of the fundamental (IEC 60268-3). */
  readonly thdRRatio: number
  /** What noise alone would read as THD, were it not taken off. */
  readonly thdRatioFloor: number
  /** Everything but the fundamental, 20 Hz to 20 kHz, over the total (AES17-2015 6.3.1; bins removed, no notch). */
  readonly thdNRatio: number
  /** Standard uncertainty of thdNRatio from noise, absolute (in the unit of the ratio). */
  readonly thdNRatioU: number
  /** The same as a standard notch of Q 2 reads it (AES17-2015 5.2.8). */
  readonly thdNNotchRatio: number
  /** Signal over noise and distortion: thdNRatio in dB with the other sign. */
  readonly sinadDb: number
}

/** A line in the noise that is no mains multiple. */
export interface NoiseLine {
  readonly freqHz: number
  /** Rms, fraction of a full-scale sine's, without the noise under it. */
  readonly rmsFs: number
  /** Relative standard uncertainty of rmsFs. */
  readonly relativeU: number
  /**
   * A whistle is one steady line by itself. A switching spur is one of a series of multiples that are not the mains', or a
   * line that wanders. A harmonic is a multiple of the tone that plays.
   */
  readonly kind: 'whistle' | 'switching spur' | 'harmonic'
  /** Fundamental of the series that it belongs to, if it does. */
  readonly seriesHz: number | null
  /** As narrow as the window lets it be: its frequency stayed within about 1 Hz. */
  readonly isSteady: boolean
}

/** What is left of noise without its lines. */
export interface Hiss {
  /** Rms, fraction of full scale of a sine's rms, 20 Hz to 20 kHz. */
  readonly rmsFs: number
  readonly aWeightedFs: number
  /** Slope of its density from 100 Hz to 12.5 kHz: 0 is white, -3 pink. */
  readonly slopeDbPerOctave: number
  /** Standard uncertainty of the slope, from how the bands stray from a line. */
  readonly slopeU: number
  readonly character: 'white' | 'pink-like' | 'steeper than pink' | 'rising'
}

export interface NoiseReading {
  /** Rms, fraction of full scale of a sine's rms: 1 is a full-scale sine. 20 Hz to 20 kHz. */
  readonly unweightedFs: number
  readonly aWeightedFs: number
  readonly cWeightedFs: number
  /** ITU-R BS.468-4, rms detector; and the same with unity gain at 2 kHz (AES17-2015, "CCIR-RMS"). */
  readonly bs468Fs: number
  readonly ccirRmsFs: number
  /**
   * Relative standard uncertainty of each figure, from how much noise was heard; lines are steady and add only what noise
   * falls on them. That of bs468Fs holds for ccirRmsFs.
   */
  readonly unweightedU: number
  readonly aWeightedU: number
  readonly cWeightedU: number
  readonly bs468U: number
  /** The larger of unweightedU and aWeightedU. */
  readonly relativeU: number
  /** Third-octave bands at the standard's exact centres. */
  readonly bandHz: readonly number[]
  readonly bandFs: readonly number[]
  /** Twelfth-octave bands (IEC 61260-1:2014, base 10), four to each third-octave band. */
  readonly fine: { readonly freqHz: readonly number[]; readonly rmsFs: readonly number[] }
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
  /** Single lines that stand out and are no mains series, strongest first. */
  readonly lines: readonly NoiseLine[]
  /** Null in digital silence. */
  readonly hiss: Hiss | null
}
