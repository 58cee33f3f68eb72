/**
 * IEC 61260-1:2014: one-third-octave bands. Nominal names of one decade, from 1 to below 10; every decade repeats them.
 *
 * Position x in the list belongs to the exact centre 10^(x/10). Taken from two public transcriptions that agree; the
 * standard itself was not read.
 */
export const THIRD_OCTAVE_NAMES = [1, 1.25, 1.6, 2, 2.5, 3.15, 4, 5, 6.3, 8] as const
