/** The uncertainty of noise figures against the spread of many seeded takes. */
import { expect, test } from 'vitest'
import { aPowerGain, bs468PowerGain, cPowerGain } from '../../src/dsp/weighting.js'
import type { NoiseReading } from '../../src/measure/analysis.js'
import { readNoise } from '../../src/measure/noise-reading.js'
import { whiteNoise } from '../kit/random.js'
import { isLong } from '../long.js'

const RATE_HZ = 48_000

/** Each figure of a reading beside its relative standard uncertainty: unweighted, A, C, BS.468, and with unity at 2 kHz. */
const figuresOf = (reading: NoiseReading): { fs: number; u: number }[] => [
  { fs: reading.unweightedFs, u: reading.unweightedU },
  { fs: reading.aWeightedFs, u: reading.aWeightedU },
  { fs: reading.cWeightedFs, u: reading.cWeightedU },
  { fs: reading.bs468Fs, u: reading.bs468U },
  { fs: reading.ccirRmsFs, u: reading.bs468U },
]
test('the stated uncertainty is the spread, and twice it covers the truth in 94 to 97 of 100 takes', {
  timeout: 60_000,
}, () => {
  // Coloured by one pole, y = x + a y: density 1 / |1 - a exp(-j w)|^2, so half of the power lies below 150 Hz for 0.98. The
  // quiet tone's 2.7 s: the less is heard, the more the reading varies.
  const count = Math.round(2.7 * RATE_HZ)
  const poles = [0, 0.98]
  const gains = [() => 1, aPowerGain, cPowerGain, bs468PowerGain]
  const truths = poles.map((a) => {
    const sums = [0, 0, 0, 0, 0]
    for (let hz = 20.125; hz < 20_000; hz += 0.25) {
      const density = 1 / (1 + a * a - 2 * a * Math.cos((2 * Math.PI * hz) / RATE_HZ))
      for (let k = 0; k < 4; k++) sums[k] += (density * gains[k](hz) * 0.25 * 2e-8) / (RATE_HZ / 2)
    }
    sums[4] = sums[3] * 10 ** -0.563
    return sums.map(Math.sqrt)
  })
  const takes = isLong ? 320 : 100
  const tallies = poles.map(() => [0, 1, 2, 3].map(() => [0, 0, 0, 0, 0]))
  const samples = new Float32Array(count)
  for (let seed = 1; seed <= takes; seed++) {
    // Normal values: the squares of uniform ones vary less.
    const noise = whiteNoise(count + 2000, 1e-4, 1000 * seed)
    poles.forEach((a, i) => {
      let y = 0
      for (let n = 0; n < noise.length; n++) {
        y = noise[n] + a * y
        if (n >= 2000) samples[n - 2000] = y
      }
      const [off, square, stated, covered] = tallies[i]
      figuresOf(readNoise(samples, RATE_HZ, null)).forEach(({ fs, u }, k) => {
        const error = fs / truths[i][k] - 1
        off[k] += error / takes
        square[k] += error ** 2 / takes
        stated[k] += u / takes
        if (Math.abs(error) < 2 * u) covered[k] += 1 / takes
      })
    })
  }
  const slack = 2 * Math.sqrt((0.954 * 0.046) / takes)
  poles.forEach((a, i) => {
    const [off, square, stated, covered] = tallies[i]
    for (let k = 0; k < 5; k++) {
      const spread = Math.sqrt(square[k] - off[k] ** 2)
      // The standard deviation of N values is itself known to 1 / √(2 N), k = 1: three times that.
      expect(Math.abs(stated[k] / spread - 1), `a ${a}, figure ${k}`).toBeLessThan(3 / Math.sqrt(2 * takes))
      // The bias: below 0.02 dB, and within three standard errors of none.
      expect(Math.abs(off[k]), `a ${a}, figure ${k}`).toBeLessThan((3 * spread) / Math.sqrt(takes))
      // 95.4 of 100 are expected; the share scatters by √(0.954 × 0.046 / N), so 94 to 97 widens by twice that.
      expect(covered[k], `a ${a}, figure ${k}`).toBeGreaterThan(0.94 - slack)
      expect(covered[k], `a ${a}, figure ${k}`).toBeLessThan(0.97 + slack)
    }
  })
})
