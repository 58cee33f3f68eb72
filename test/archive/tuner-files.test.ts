/** The tuner's files, held against the Cookbook through scipy: its analog prototypes under scipy's own bilinear transform. */
import { execFileSync } from 'node:child_process'
import { expect, test } from 'vitest'
import { sectionsToTypeIn, tunerFiles } from '../../src/archive/tuner-files.js'
import { sectionDb, undoing } from '../../src/dsp/cookbook.js'
import type { Correction } from '../../src/verdict/stage-result.js'
import { needsTool } from '../tools.js'

const CORRECTIONS: Correction[] = [
  {
    of: '3 rear left',
    outputs: [3],
    leavesDb: 0.1,
    sections: [
      { kind: 'low shelf', freqHz: 110.04, gainDb: -5.2, q: 0.7 },
      { kind: 'peaking', freqHz: 2600, gainDb: 4.6, q: 2.1 },
    ],
  },
  {
    of: '=sum, front "left"',
    outputs: [1, 2],
    leavesDb: 0.2,
    sections: [{ kind: 'high shelf', freqHz: 9000, gainDb: -3, q: 0.9 }],
  },
]

const rowsOf = (text: string): string[][] =>
  text
    .trim()
    .split('\r\n')
    .slice(1)
    .map((line) => line.split(/,(?=(?:[^"]*"[^"]*")*[^"]*$)/).map((cell) => cell.replace(/^"|"$/g, '')))

/**
 * Prototypes of the W3C Audio EQ Cookbook, s normalised to the frequency; prewarped: s = (z - 1) / (z + 1) / tan(w0 / 2), which
 * is scipy's bilinear at fs = 1 / (2 tan(w0 / 2)) . freqz in dB at 60 frequencies.
 */
const SCIPY = `
import sys, json
import numpy as np
from scipy import signal
out = []
for kind, f0, gain, q, fs in json.load(sys.stdin):
    A = 10 ** (gain / 40)
    r = np.sqrt(A) / q
    b, a = {'peaking': ([1, A / q, 1], [1, 1 / (A * q), 1]),
            'low_shelf': (A * np.array([1, r, A]), [A, r, 1]),
            'high_shelf': (A * np.array([A, r, 1]), [1, r, A])}[kind]
    b, a = signal.bilinear(b, a, 1 / (2 * np.tan(np.pi * f0 / fs)))
    out.append([*(b / a[0]), *(a / a[0])])
json.dump(out, sys.stdout)
`

test('the biquads of the file are those of scipy at 48 and 96 kHz', (context) => {
  needsTool(context, 'scipy')
  const biquads = rowsOf(tunerFiles(CORRECTIONS)[1].text)
  const sections = CORRECTIONS.flatMap(sectionsToTypeIn)
  expect(biquads.map((row) => row[2])).toEqual(['48000', '48000', '48000', '96000', '96000', '96000'])
  const asked = biquads.map((row, k) => {
    const { kind, freqHz, gainDb, q } = sections[k % sections.length]
    return [kind, freqHz, gainDb, q, Number(row[2])]
  })
  const input = JSON.stringify(asked)
  const outside = JSON.parse(execFileSync('/usr/bin/python3', ['-c', SCIPY], { input, encoding: 'utf8' })) as number[][]
  biquads.forEach((row, k) => {
    // Tolerance: rounding of double precision; every digit is in the file.
    for (const [i, value] of row.slice(3, 9).map(Number).entries())
      expect(Math.abs(value - outside[k][i])).toBeLessThan(1e-12)
  })
  // At its own rate a section is what was found; a high shelf near half of it differs at another.
  expect(biquads.map((row) => Number(row[9]) > 0.05)).toEqual([false, false, false, false, expect.any(Boolean), true])
})

test('negated gains undo a section exactly, peaks and shelves alike', () => {
  // Closed form: A becomes 1 / A, which exchanges numerator and denominator of each Cookbook prototype.
  for (const section of CORRECTIONS.flatMap(sectionsToTypeIn)) {
    for (let freqHz = 20; freqHz < 20_000; freqHz *= 1.3) {
      const both = sectionDb(section, freqHz, 48_000) + sectionDb(undoing(section), freqHz, 48_000)
      expect(Math.abs(both)).toBeLessThan(1e-9)
    }
  }
})

test('the settings stand one to a row, as they are typed in, and no name is a formula', () => {
  const [settings] = tunerFiles(CORRECTIONS)
  expect(settings).toEqual({
    name: 'flat.csv',
    text: [
      '"output or sum","section","kind","frequency (Hz)","gain (dB)","Q"',
      '"3 rear left",1,"low shelf",110,-5.2,0.7',
      '"3 rear left",2,"peaking",2600,4.6,2.1',
      '"\'=sum, front ""left""",1,"high shelf",9000,-3,0.9',
      '',
    ].join('\r\n'),
  })
})
