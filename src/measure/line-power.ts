/**
 * Power of weak lines in noise: what noise adds is taken off, and the uncertainty is carried to amplitudes and ratios.
 *
 * A line of peak a that is read with complex noise of mean square q reads |a + noise|²: mean a² + q, variance
 * 2 a² q + q². Powers here are squares of peaks. Closed form: the noncentral chi-squared distribution with two degrees of
 * freedom.
 */

export interface LinePower {
  /** Sum of squared peaks, the noise's share taken off: without bias, so it may be below 0. */
  readonly power: number
  /** Mean square of the noise on a line, as the strong lines of the sum have it. */
  readonly noise: number
  /** Variance of power that is there without any line. */
  readonly fixedVariance: number
}

/** A value with its standard uncertainty, or the most that it can be. */
export interface Reading {
  /** Where isAtMost is set: the upper end of the interval that holds the truth with 97.5 %. */
  readonly value: number
  /** Standard uncertainty in the unit of value; 0 where isAtMost is set, since the bound has it in it. */
  readonly u: number
  readonly isAtMost: boolean
}

/**
 * @param measured squared peak as it was read
 * @param noise mean square that noise adds to it
 * @param noiseVariance relative variance of that mean square, as an estimate
 */
export const linePower = (measured: number, noise: number, noiseVariance: number): LinePower => ({
  power: measured - noise,
  noise,
  fixedVariance: noise * noise * (1 + noiseVariance),
})

/** Lines whose noise was estimated independently. */
export function sumOfLines(lines: readonly LinePower[]): LinePower {
  let [power, weighted, weight, fixedVariance] = [0, 0, 0, 0]
  for (const line of lines) {
    const measured = Math.max(line.power + line.noise, Number.MIN_VALUE)
    power += line.power
    weighted += measured * line.noise
    weight += measured
    fixedVariance += line.fixedVariance
  }
  return { power, noise: weight > 0 ? weighted / weight : 0, fixedVariance }
}

/**
 * Ends of the interval of two standard deviations: those powers p from which the measured one is two of *their* deviations,
 * √(2 p q + v), away. A deviation taken at the measured power is too small where noise has pulled it down.
 */
function interval({ power, noise, fixedVariance }: LinePower): { low: number; high: number } {
  const root = Math.sqrt(Math.max(0, 16 * noise * noise + 8 * power * noise + 4 * fixedVariance))
  // Far below nothing the noise was taken for more than it is: then it bounds by its own deviation.
  const high = Math.max(power + 4 * noise + root, 2 * Math.sqrt(fixedVariance))
  return { low: Math.max(0, power + 4 * noise - root), high }
}

/** From here on a power counts as seen: noise alone passes it in 3 of 100 cases on one line, and in 1 on many. */
const SEEN_DEVIATIONS = 2.5

/** Root of the power: the peak of a line, or the root-sum of several. */
export function amplitudeOf(line: LinePower): Reading {
  const { low, high } = interval(line)
  if (line.power <= SEEN_DEVIATIONS * Math.sqrt(line.fixedVariance)) {
    return { value: Math.sqrt(high), u: 0, isAtMost: true }
  }
  const value = Math.sqrt(line.power)
  return { value, u: 0.5 * Math.max(Math.sqrt(high) - value, value - Math.sqrt(low)), isAtMost: false }
}

/** Amplitudes added up arithmetically, as IEC 60268-3 asks for modulation products. */
export function arithmeticSum(lines: readonly LinePower[]): Reading {
  const readings = lines.map(amplitudeOf)
  if (readings.some(({ isAtMost }) => isAtMost)) {
    // Where one of them is lost in noise the sum is bounded: by what was read, and by two deviations of all together.
    const read = lines.reduce((sum, { power }) => sum + Math.sqrt(Math.max(0, power)), 0)
    const spread = Math.sqrt(lines.reduce((sum, line) => sum + 0.5 * line.noise + Math.sqrt(line.fixedVariance), 0))
    return { value: read + Math.SQRT2 * spread, u: 0, isAtMost: true }
  }
  return {
    value: readings.reduce((sum, { value }) => sum + value, 0),
    u: Math.hypot(...readings.map(({ u }) => u)),
    isAtMost: false,
  }
}

/** A reading over another amplitude with its own standard uncertainty. */
export function over(reading: Reading, reference: number, referenceU: number): Reading {
  const value = reading.value / Math.max(reference, SILENT_FS)
  const relative = Math.min(1, referenceU / Math.max(reference, SILENT_FS))
  return reading.isAtMost
    ? { value: value * (1 + 2 * relative), u: 0, isAtMost: true }
    : { value, u: Math.hypot(reading.u / Math.max(reference, SILENT_FS), value * relative), isAtMost: false }
}

/** What counts as nothing, so that digital silence gives 0 and no division by it. */
export const SILENT_FS = 1e-15
