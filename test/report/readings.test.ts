import { describe, expect, test } from 'vitest'
import { undoInWords } from '../../src/report/equaliser-part.js'
import { htmlReport } from '../../src/report/html.js'
import type { Readings } from '../../src/verdict/readings.js'
import type { OutputResult, Result } from '../../src/verdict/result.js'
import { HOSTILE, withHostileTexts } from './hostile.js'
import { BARE_READINGS } from './rich-readings.js'
import { faultyResult, healthyResult } from './sample-result.js'

/** What a reader reads of the page, in one line, with plain spaces. */
const textOf = (html: string): string =>
  html
    .replace(/<style>.*?<\/style>/gs, ' ')
    .replace(/<[^>]*>/g, ' ')
    .replaceAll('&#8239;', ' ')
    .replaceAll('&#39;', "'")
    .replaceAll('\u00a0', ' ')
    .replace(/\s+/g, ' ')

/** The article of one output, as text. */
function articleOf(html: string, number: number): string {
  const [, article = ''] =
    new RegExp(`<article class="charts" id="output-${number}">(.*?)</article>`, 's').exec(html) ?? []
  return textOf(article)
}

const rich = htmlReport(faultyResult())
const rigless = (result: Result): Result => ({ ...result, rig: { ...result.rig, notes: [] }, sums: [], source: null })
const bareOutput = (output: OutputResult): OutputResult => ({ ...output, figures: [], readings: BARE_READINGS })
const bare = htmlReport(rigless({ ...healthyResult(), outputs: healthyResult().outputs.map(bareOutput), checks: [] }))

const withReadings = (readings: Partial<Readings>): string => {
  const result = healthyResult({ outputCount: 1 })
  const [output] = result.outputs
  return articleOf(htmlReport({ ...result, outputs: [{ ...output, readings: { ...BARE_READINGS, ...readings } }] }), 1)
}

describe('of a take in which little was read', () => {
  test('no part stands there empty', () => {
    const parts = [
      'Distortion and headroom',
      'Crosstalk and group delay',
      'Change with the volume',
      'Interruptions',
      'All figures',
      'equaliser section',
      'edge (−3 dB)',
      'Electrical sums',
      'Path from player',
      'Their figures',
      'With the engine running',
    ]
    for (const part of parts) {
      expect(textOf(bare)).not.toContain(part)
      expect(textOf(rich)).toContain(part)
    }
  })
})

describe('equalisation', () => {
  test('is a table of what is in it and what undoes it, each value with its uncertainty', () => {
    const text = articleOf(rich, 6)
    expect(text).toContain('2 equaliser sections were found. Undone, 0.08 dB is the most that is left.')
    expect(text).toContain(
      '1 Peaking 80.4 Hz ± 0.3 Hz +6.13 dB ± 0.02 dB 1.130 ± 0.010 Peaking, 80.4 Hz, −6.1 dB, Q 1.13',
    )
    expect(text).toContain(
      '2 High shelf 9012.4 Hz ± 0.3 Hz −2.50 dB ± 0.02 dB 0.850 ± 0.010 High shelf, 9012 Hz, +2.5 dB, Q 0.85',
    )
  })

  test('that no few sections explain is said plainly, and no settings are given', () => {
    const text = articleOf(rich, 7)
    expect(text).toContain('Equalisation is in it that no few sections explain')
    expect(text).toContain('off by up to 3.42 dB (rms 1.21 dB). No settings are given')
    expect(text).not.toContain('Undone by')
  })

  test('that is not there is said in a sentence, after the edges of the band with slope and shape', () => {
    expect(articleOf(rich, 8)).toContain(
      'Lower edge (−3 dB) 150.0 Hz ± 2.0 Hz, 24 dB/octave, Butterworth, order 4. Upper edge (−3 dB) 7000.0 Hz ± 2.0 Hz, 24 dB/octave, Butterworth, order 4. No equaliser section was found: 0.04 dB is the most that is left.',
    )
    const one = { isExplained: true, sections: [], leftWorstDb: 0.001, leftRmsDb: 0.0004, processingHz: 48_000 }
    expect(withReadings({ equalisation: one })).toContain('less than 0.01 dB is the most that is left')
  })

  // Processors take whole hertz, tenths of a decibel, hundredths of Q.
  test('is undone by settings that a processor takes', () => {
    const section = { kind: 'low shelf', gainU: 0, freqU: 0, qU: 0, gainDb: -3.96, q: Math.SQRT1_2 } as const
    expect(undoInWords({ ...section, freqHz: 79.96, undoGainDb: 3.96 })).toBe('Low shelf, 80.0 Hz, +4.0 dB, Q 0.71')
    expect(undoInWords({ ...section, freqHz: 1234.56, undoGainDb: 3.96 })).toBe('Low shelf, 1235 Hz, +4.0 dB, Q 0.71')
  })
})

describe('distortion and headroom', () => {
  test('tell kind, highest clean level in dBFS and in volts, and the gain that is lost', () => {
    const text = articleOf(rich, 8)
    expect(text).toContain('clean to −2.3 dBFS (1.377 V), above it hard clipping')
    expect(text).toContain('THD in per cent over the source')
    expect(text).toContain('Compression at 0 dBFS +0.01 dB ± 0.01 dB')
  })

  test('show a bound as one: at most that much, at least that much', () => {
    const text = articleOf(rich, 1)
    expect(text).toContain('clean to at least 0.0 dBFS (at least 1.512 V)')
    expect(text).toContain('THD over the total at 997 Hz at most 0.00044 % ± 0.00004 %')
    expect(text).toContain('SINAD at least 85.3 dB')
    expect(text).toContain('Harmonic 4 at 3.99 kHz at most −131.8 dB –')
  })
})

describe('noise', () => {
  test('is a table by every weighting, and the range over it', () => {
    const rows = [
      'Noise, unweighted −97.7 dBV ± 0.2 dB',
      'Noise, A-weighted −100.3 dBV(A) ± 0.2 dB',
      'Noise, C-weighted −99.9 dBV(C) ± 0.1 dB',
      'Noise, ITU-R 468 −91.4 dBV',
      'Noise, ITU-R 468 with unity at 2 kHz −97.1 dBV',
      'Hum at most −118.0 dBV',
      'Dynamic range 98.7 dB',
      'Dynamic range, A-weighted 101.3 dB',
    ]
    const text = articleOf(rich, 1)
    for (const row of rows) expect(text).toContain(row)
  })

  test('of a running engine is told with its range, its orders and whether it moves', () => {
    expect(articleOf(rich, 5)).toContain(
      "With the engine running: a series on 726 Hz to 1.01 kHz, orders 1 to 3 and 6. It moves with the engine's speed.",
    )
    const still = withReadings({ whine: { lowHz: 400, highHz: 400, orders: [1], isMoving: false } })
    expect(still).toContain('order 1. It stands still.')
  })
})

describe('interruptions', () => {
  test('are listed with time, sample, length in samples and ms, what follows, take and outputs', () => {
    const text = articleOf(rich, 5)
    expect(text).toContain('dropout 34.1999 s 1689789 ± 1 240 samples, 5.00 ms in time reference this output')
    expect(text).toContain('jump 12.6000 s 700001 ± 3 1 sample, 0.02 ms 37 samples early engine running all outputs')
  })

  test('are no more than a page can hold', () => {
    const [one] = faultyResult().outputs[4].readings.interruptions
    const many = withReadings({ interruptions: Array.from({ length: 999 }, () => one) })
    expect(many.match(/34\.1999 s/g)).toHaveLength(40)
    expect(many).toContain('And 959 more, in result.json.')
  })

  test('whose take is not in the result have a length in samples alone', () => {
    const [one] = faultyResult().outputs[4].readings.interruptions
    expect(withReadings({ interruptions: [{ ...one, setting: 'volume_7', lateSamples: null }] })).toContain(
      '240 samples not known volume 7',
    )
  })
})

test('a change with the volume is told for each volume, with its level and whether the shape changes', () => {
  const text = articleOf(rich, 6)
  expect(text).toContain('volume 20: its shape changes, volume 10: same shape')
  expect(text).toContain('Volume 20: level −5.00 dB ± 0.04 dB, loudness curve.')
  expect(text).toContain('Volume 10: level −10.0 dB ± 0.1 dB, no loudness curve.')
})

describe('an electrical sum', () => {
  const text = textOf(/<section id="sums">(.*?)<\/section>/s.exec(rich)![1])

  test('that is not flat shows how far off it is, and the settings that make it flat', () => {
    expect(text).toContain(
      'Sum front right FAIL outputs 2 + 4. Off from flat by −39.7 dB as it stands, by +0.1 dB with the settings. Because of output 2.',
    )
    expect(text).toContain('4 −0.082 ms ± 0.001 ms or delay the others by 0.082 ms +0.42 dB ± 0.02 dB turn it')
  })

  test('that was not measured says why', () => {
    expect(text).toContain('outputs 8 + 10. Not measured. Outputs 8 and 10 were taken in different patches.')
  })

  test('is closed where it passes, and says so in its line', () => {
    expect(text).toContain(
      'Sum front left outputs 1 + 3. Off from flat by +0.1 dB as it stands; the settings change little.',
    )
    expect(text).toContain('any they do not overlap')
  })
})

test('the path from player to head unit is told: lossy or not, and why', () => {
  expect(textOf(rich)).toContain(
    'Path from player to head unit: It is lossy: a codec has been at work, and what it takes away or adds limits what can be said. The response ends in a cliff at 15.5 kHz.',
  )
  expect(textOf(htmlReport(healthyResult()))).toContain('Path from player to head unit: No sign of a lossy codec.')
  const limited = { isLossy: 'unsure', because: [], bandLimitHz: 12_300 } as const
  expect(textOf(htmlReport({ ...healthyResult(), source: { ...limited, because: [] } }))).toContain(
    'It may be lossy; that could not be settled. Its band ends at 12.3 kHz.',
  )
})

test('notes of the rig, the date of a calibration, an input’s own noise and which track was measured are in the record', () => {
  const text = textOf(rich)
  for (const note of faultyResult().rig.notes) expect(text).toContain(`Note: ${note}`)
  expect(text).toContain('2025-11-02 09:15 UTC −112.0 dBFS')
  expect(text).toContain('not against a meter not known')
  expect(text).toContain('number 2 of 3')
  expect(text).toContain('drift +1.4 ppm')
})

describe('every figure', () => {
  test('stands in a table with its expanded uncertainty and the standard uncertainties that make it', () => {
    const text = articleOf(rich, 1)
    expect(text).toContain('Noise, C-weighted −99.9 dBV(C) ± 0.1 dB input calibration 0.050 dB ; averaging 0.018 dB')
    // What hardly counts is taken together: the root of the sum of squares of 0.00002 and 0.00001 is 0.000022.
    expect(text).toContain('noise 0.0010 dB ; 2 smaller 0.000022 dB')
    expect(text).toContain(
      'Output at the highest clean level at 997 Hz at least 1.512 V ± 0.016 V input calibration 8.1 mV',
    )
  })

  test('of every output and of the vehicle is in one', () => {
    const result = faultyResult()
    const rows = [...rich.matchAll(/<table class="budget">(.*?)<\/table>/gs)].map(
      ([, table]) => [...table.matchAll(/<th scope="row"/g)].length,
    )
    const vehicle = result.checks.filter(({ figure }) => figure !== null).length
    expect(rows).toEqual([vehicle, ...result.outputs.map(({ figures }) => figures.length)])
  })
})

test('what a job, a rig or an instrument says is text in every new part', () => {
  const html = htmlReport(withHostileTexts(faultyResult()))
  expect(html).not.toMatch(/<(?:script|img|svg onload)/i)
  const budget = /<table class="budget">.*?<\/table>/s.exec(html)![0]
  expect(budget).toContain('&lt;script&gt;window.broken')
  const sums = /<section id="sums">.*?<\/section>/s.exec(html)![0]
  expect(HOSTILE.some((name) => name.startsWith('<script>'))).toBe(true)
  expect(sums).not.toMatch(/<script|onerror=|onmouseover='/i)
})

test('ten outputs with all that can be read stay a small file', () => {
  // 1.5 MB is the most that a mail or a phone should be asked to take; a curve has at most a few hundred points.
  const freqHz = Array.from({ length: 500 }, (_, i) => 20 * 1000 ** (i / 499))
  const wobble = freqHz.map((_, i) => 0.001 + 0.0005 * Math.sin(i))
  const result = faultyResult()
  const outputs = result.outputs.map((output) => ({
    ...output,
    figures: Array.from({ length: 45 }, (_, i) => result.outputs[0].figures[i % 20]),
    readings: { ...output.readings, groupDelay: { freqHz, delayS: wobble, u: wobble } },
  }))
  expect(htmlReport({ ...result, outputs }).length).toBeLessThan(1_500_000)
})
