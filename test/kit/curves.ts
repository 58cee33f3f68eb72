/** Level curves from closed forms on the measuring grid, with noise of a known size, and random equalisers to put in them. */
import type { EqSection } from '../../src/dsp/cookbook.js'
import type { LevelCurve } from '../../src/measure/equaliser-region.js'
import { GRID_HZ } from '../../src/measure/grid.js'
import { type Filter, magnitudeDb, type Section } from './biquad.js'
import { normalFrom, uniformFrom } from './random.js'

export interface Path {
  readonly sections?: readonly EqSection[]
  readonly filter?: Filter
  /** First-order high-pass of a coupling capacitor; 0 for none. */
  readonly couplingHz?: number
  /** Standard deviation of each point where the curve is highest; it grows as the curve falls, as one noise does. */
  readonly noiseDb?: number
  readonly seed?: number
}

const RATE_HZ = 48_000

/**
 * A section from the cookbook's own coefficients, written down again here: shelves as A (A+1 ± cos + 2 sqrt(A) alpha),
 * any Q.
 */
export function biquadOf({ kind, gainDb, freqHz, q }: EqSection): Section {
  const w = (2 * Math.PI * freqHz) / RATE_HZ
  const [c, alpha, A] = [Math.cos(w), Math.sin(w) / (2 * q), 10 ** (gainDb / 40)]
  const over = (b: readonly number[], a: readonly number[]): Section => ({
    b: [b[0] / a[0], b[1] / a[0], b[2] / a[0]],
    a: [a[1] / a[0], a[2] / a[0]],
  })
  const bend = 2 * Math.sqrt(A) * alpha
  switch (kind) {
    case 'peaking':
      return over([1 + alpha * A, -2 * c, 1 - alpha * A], [1 + alpha / A, -2 * c, 1 - alpha / A])
    case 'low_shelf':
      return over(
        [A * (A + 1 - (A - 1) * c + bend), 2 * A * (A - 1 - (A + 1) * c), A * (A + 1 - (A - 1) * c - bend)],
        [A + 1 + (A - 1) * c + bend, -2 * (A - 1 + (A + 1) * c), A + 1 + (A - 1) * c - bend],
      )
    case 'high_shelf':
      return over(
        [A * (A + 1 + (A - 1) * c + bend), -2 * A * (A - 1 + (A + 1) * c), A * (A + 1 + (A - 1) * c - bend)],
        [A + 1 - (A - 1) * c + bend, 2 * (A - 1 - (A + 1) * c), A + 1 - (A - 1) * c - bend],
      )
  }
}

export function curveOf({ sections = [], filter = [], couplingHz = 2, noiseDb = 0.002, seed = 1 }: Path): LevelCurve {
  const normal = normalFrom(seed)
  const chain = [...filter, ...sections.map(biquadOf)]
  const clean = GRID_HZ.map((hz) => magnitudeDb(chain, hz, RATE_HZ) - 3 - 10 * Math.log10(1 + (couplingHz / hz) ** 2))
  const top = Math.max(...clean.filter((_, i) => GRID_HZ[i] > 20 && GRID_HZ[i] < 19_000))
  const uDb = clean.map((level) => noiseDb * 10 ** ((top - level) / 20))
  return { freqHz: GRID_HZ, levelDb: clean.map((level, i) => level + uDb[i] * normal()), uDb, noiseWidthHz: 0 }
}

/**
 * One to four sections, 30 Hz to 12 kHz, 1 to 12 dB up or down, peaks of Q 0.4 to 8, shelves of Q 0.4 to 1.2.
 * @param octavesApart least distance between neighbours; 0 lets them lie on top of each other
 */
export function randomSections(seed: number, octavesApart: number): EqSection[] {
  const uniform = uniformFrom(seed)
  for (;;) {
    const out = Array.from({ length: 1 + Math.floor(4 * uniform()) }, (): EqSection => {
      const gainDb = (uniform() < 0.5 ? -1 : 1) * (1 + 11 * uniform())
      const sort = uniform()
      if (sort < 0.2) return { kind: 'low_shelf', gainDb, freqHz: 40 * 10 ** uniform(), q: 0.4 + 0.8 * uniform() }
      if (sort < 0.4) return { kind: 'high_shelf', gainDb, freqHz: 1500 * 8 ** uniform(), q: 0.4 + 0.8 * uniform() }
      return { kind: 'peaking', gainDb, freqHz: 30 * 400 ** uniform(), q: 0.4 * 20 ** uniform() }
    }).sort((a, b) => a.freqHz - b.freqHz)
    if (out.every(({ freqHz }, k) => k === 0 || freqHz >= out[k - 1].freqHz * 2 ** octavesApart)) return out
  }
}
