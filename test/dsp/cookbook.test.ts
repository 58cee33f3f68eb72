/**
 * Cookbook sections in closed form, against the same sections as transfer functions: on the unit circle by the kit's own
 * complex arithmetic, and by scipy's freqz.
 */
import { execFileSync } from 'node:child_process'
import { describe, expect, test } from 'vitest'
import {
  type EqSection,
  multiplySection,
  sectionCoefficients,
  sectionDb,
  undoing,
  warpedSquares,
} from '../../src/dsp/cookbook.js'
import { magnitudeDb, peaking, type Section, shelf } from '../kit/biquad.js'
import { biquadOf } from '../kit/curves.js'
import { uniformFrom } from '../kit/random.js'
import { needsTool } from '../tools.js'

const RATES_HZ = [44_100, 48_000, 96_000] as const
const KINDS = ['peaking', 'low_shelf', 'high_shelf'] as const
const FREQ_HZ = Array.from({ length: 40 }, (_, k) => 10 * 2 ** (k / 3.6))

/** Sections at random: ±15 dB, 20 Hz to 16 kHz, Q 0.3 to 10. */
const randomSections = (count: number, seed: number): EqSection[] => {
  const uniform = uniformFrom(seed)
  return Array.from({ length: count }, (_, k) => ({
    kind: KINDS[k % 3],
    gainDb: 30 * uniform() - 15,
    freqHz: 20 * 800 ** uniform(),
    q: 0.3 * 33 ** uniform(),
  }))
}

const asKit = (section: EqSection, sampleRateHz: number): Section => {
  const { b, a } = sectionCoefficients(section, sampleRateHz)
  return { b, a: [a[1], a[2]] }
}

// Tolerance: rounding. A section of 15 dB and Q 10 at 20 Hz has coefficients near 1 that differ by 1e-6 of themselves; the
// square of that is lost from 1e-16, which leaves 1e-5 of its level at 10 Hz. The closed form does not have this loss.
const ROUNDING_DB = 2e-4

describe('magnitude', () => {
  test.each(RATES_HZ)('at %d Hz it is that of the coefficients on the unit circle', (sampleRateHz) => {
    for (const section of randomSections(60, 1)) {
      for (const freqHz of FREQ_HZ) {
        const truthDb = magnitudeDb([asKit(section, sampleRateHz)], freqHz, sampleRateHz)
        expect(Math.abs(sectionDb(section, freqHz, sampleRateHz) - truthDb)).toBeLessThan(ROUNDING_DB)
      }
    }
  })

  test("it is that of the kit's own filters, which were written without this file", () => {
    for (const { gainDb, freqHz, q } of randomSections(30, 2)) {
      for (const hz of FREQ_HZ) {
        const peakDb = magnitudeDb([peaking(freqHz, gainDb, q, 48_000)], hz, 48_000)
        expect(Math.abs(sectionDb({ kind: 'peaking', gainDb, freqHz, q }, hz, 48_000) - peakDb)).toBeLessThan(
          ROUNDING_DB,
        )
        for (const side of ['low', 'high'] as const) {
          const shelfDb = magnitudeDb([shelf(side, freqHz, gainDb, 48_000)], hz, 48_000)
          const ours = sectionDb({ kind: `${side}_shelf`, gainDb, freqHz, q: Math.SQRT1_2 }, hz, 48_000)
          expect(Math.abs(ours - shelfDb)).toBeLessThan(ROUNDING_DB)
        }
      }
    }
    for (const section of randomSections(30, 3)) {
      const { b, a } = sectionCoefficients(section, 48_000)
      const kit = biquadOf(section)
      ;[...b].forEach((value, k) => {
        expect(value).toBeCloseTo(kit.b[k], 12)
      })
      expect([a[1] - kit.a[0], a[2] - kit.a[1]].every((off) => Math.abs(off) < 1e-12)).toBe(true)
    }
  })

  test('it is that of scipy freqz on coefficients written from the cookbook in Python', (context) => {
    needsTool(context, 'scipy')
    const sections = randomSections(30, 4)
    const answer = execFileSync('/usr/bin/python3', ['-c', FREQZ], {
      input: JSON.stringify({ sections, freqHz: FREQ_HZ, rateHz: 48_000 }),
      encoding: 'utf8',
    })
    const levels = JSON.parse(answer) as number[][]
    sections.forEach((section, k) => {
      FREQ_HZ.forEach((hz, i) => {
        expect(Math.abs(sectionDb(section, hz, 48_000) - levels[k][i])).toBeLessThan(ROUNDING_DB)
      })
    })
  })

  test('at its frequency a peak has its gain, a shelf half of it, and a shelf all of it at its end', () => {
    // Closed form: |H| = A² at the peak's centre, A at the shelf's; at 0 Hz a low shelf is A².
    for (const { gainDb, freqHz, q } of randomSections(20, 5)) {
      expect(sectionDb({ kind: 'peaking', gainDb, freqHz, q }, freqHz, 48_000)).toBeCloseTo(gainDb, 9)
      expect(sectionDb({ kind: 'low_shelf', gainDb, freqHz, q }, freqHz, 48_000)).toBeCloseTo(gainDb / 2, 9)
      expect(sectionDb({ kind: 'high_shelf', gainDb, freqHz, q }, freqHz, 48_000)).toBeCloseTo(gainDb / 2, 9)
      expect(sectionDb({ kind: 'low_shelf', gainDb, freqHz, q }, 0, 48_000)).toBeCloseTo(gainDb, 9)
      expect(sectionDb({ kind: 'high_shelf', gainDb, freqHz, q }, 0, 48_000)).toBeCloseTo(0, 9)
    }
  })

  test('a high shelf is a low one of the opposite gain at another level', () => {
    for (const { gainDb, freqHz, q } of randomSections(20, 6)) {
      for (const hz of FREQ_HZ) {
        const turned = gainDb + sectionDb({ kind: 'low_shelf', gainDb: -gainDb, freqHz, q }, hz, 48_000)
        expect(sectionDb({ kind: 'high_shelf', gainDb, freqHz, q }, hz, 48_000)).toBeCloseTo(turned, 9)
      }
    }
  })
})

const FREQZ = `
import json, sys
import numpy as np
from scipy import signal
ask = json.load(sys.stdin)
out = []
for s in ask["sections"]:
    w = 2 * np.pi * s["freqHz"] / ask["rateHz"]
    A, c, al = 10 ** (s["gainDb"] / 40), np.cos(w), np.sin(w) / (2 * s["q"])
    r = 2 * np.sqrt(A) * al
    if s["kind"] == "peaking":
        b, a = [1 + al * A, -2 * c, 1 - al * A], [1 + al / A, -2 * c, 1 - al / A]
    elif s["kind"] == "low_shelf":
        b = [A * ((A + 1) - (A - 1) * c + r), 2 * A * ((A - 1) - (A + 1) * c), A * ((A + 1) - (A - 1) * c - r)]
        a = [(A + 1) + (A - 1) * c + r, -2 * ((A - 1) + (A + 1) * c), (A + 1) + (A - 1) * c - r]
    else:
        b = [A * ((A + 1) + (A - 1) * c + r), -2 * A * ((A - 1) + (A + 1) * c), A * ((A + 1) + (A - 1) * c - r)]
        a = [(A + 1) - (A - 1) * c + r, 2 * ((A - 1) - (A + 1) * c), (A + 1) - (A - 1) * c - r]
    _, h = signal.freqz(b, a, worN=np.array(ask["freqHz"]), fs=ask["rateHz"])
    out.append((20 * np.log10(np.abs(h))).tolist())
json.dump(out, sys.stdout)
`

test('slopes are those of the difference between two near sections', () => {
  // Truth: central differences; their own error is the third derivative times the step squared over 6. A peak of 15 dB and
  // Q 10 changes over 1 / (2 Q) of ln f, so that its third derivative is some 15 x 20³ x 6; a step of 1e-5 leaves 1e-5.
  const warped = warpedSquares(Float64Array.from(FREQ_HZ), 48_000)
  const levelOf = (section: EqSection): Float64Array => {
    const power = new Float64Array(warped.length).fill(1)
    multiplySection(section, warped, 48_000, power)
    return power.map((value) => 10 * Math.log10(value))
  }
  for (const section of randomSections(30, 7)) {
    const [perGainDb, perLnFreq, perLnQ] = [0, 1, 2].map(() => new Float64Array(warped.length))
    multiplySection(section, warped, 48_000, new Float64Array(warped.length), { perGainDb, perLnFreq, perLnQ })
    const check = (slope: Float64Array, near: (step: number) => EqSection): void => {
      const [up, down] = [levelOf(near(1e-5)), levelOf(near(-1e-5))]
      slope.forEach((value, i) => {
        expect(Math.abs(value - (up[i] - down[i]) / 2e-5)).toBeLessThan(5e-5)
      })
    }
    check(perGainDb, (step) => ({ ...section, gainDb: section.gainDb + step }))
    check(perLnFreq, (step) => ({ ...section, freqHz: section.freqHz * Math.exp(step) }))
    check(perLnQ, (step) => ({ ...section, q: section.q * Math.exp(step) }))
  }
})

test.each(RATES_HZ)('a section and what undoes it make a wire at %d Hz', (sampleRateHz) => {
  // Truth: the zeros of one are the poles of the other. Tolerance: rounding, as above.
  for (const section of randomSections(30, 8)) {
    const both = [asKit(section, sampleRateHz), asKit(undoing(section), sampleRateHz)]
    for (const freqHz of FREQ_HZ) {
      expect(Math.abs(magnitudeDb(both, freqHz, sampleRateHz))).toBeLessThan(ROUNDING_DB)
    }
  }
})

test('what is no section is refused by name', () => {
  const section: EqSection = { kind: 'peaking', gainDb: 3, freqHz: 1000, q: 1 }
  expect(() => sectionDb(section, 24_000, 48_000)).toThrow('sectionDb: 24000 Hz, want 0 to below 24000 Hz')
  expect(() => sectionDb({ ...section, q: 0 }, 100, 48_000)).toThrow('section with Q 0, want above 0')
  expect(() => sectionCoefficients({ ...section, freqHz: 30_000 }, 48_000)).toThrow(
    'section at 30000 Hz, want above 0 and below 24000 Hz',
  )
})
