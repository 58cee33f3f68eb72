/**
 * Level scales: the one place where decibels, dBV and volts are converted.
 *
 * 0 dBFS is the level of a sine whose peaks just reach digital full scale (AES17-2015);
 * `full_scale_vrms` in a rig file is the rms voltage of that same sine at the input terminal.
 */
declare const scale: unique symbol
export type Dbv = number & { readonly [scale]: 'dBV' }
export type Vrms = number & { readonly [scale]: 'Vrms' }

export const dbv = (value: number): Dbv => value as Dbv
export const vrms = (value: number): Vrms => value as Vrms

/** A ratio of amplitudes in decibels; 0 gives -Infinity. */
export const dbFromRatio = (ratio: number): number => 20 * Math.log10(ratio)
/** A ratio of amplitudes from decibels. */
export const ratioFromDb = (ratioDb: number): number => 10 ** (ratioDb / 20)

/** Decibels of a small relative change: d(20 lg x) = 8.686 dx / x. */
export const DB_PER_NEPER = 20 / Math.LN10

export const vrmsFromDbv = (levelDbv: Dbv): Vrms => ratioFromDb(levelDbv) as Vrms
