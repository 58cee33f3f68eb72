/** The frequency grid of every response: 48 points an octave through 1 kHz, 10 Hz to 22 kHz. */

const PER_OCTAVE = 48
const FIRST = Math.ceil(PER_OCTAVE * Math.log2(10 / 1000))
const LAST = Math.floor(PER_OCTAVE * Math.log2(22_000 / 1000))

export const GRID_HZ: Float64Array = Float64Array.from(
  { length: LAST - FIRST + 1 },
  (_, i) => 1000 * 2 ** ((FIRST + i) / PER_OCTAVE),
)

/** Index of the grid point nearest to a frequency. */
export const gridIndex = (freqHz: number): number =>
  Math.min(GRID_HZ.length - 1, Math.max(0, Math.round(PER_OCTAVE * Math.log2(freqHz / 1000)) - FIRST))
