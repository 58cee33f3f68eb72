/**
 * Settings for the tuner's processor as files: to type in, and as biquad coefficients to load.
 *
 * H(z) = (b0 + b1 z^-1 + b2 z^-2) / (a0 + a1 z^-1 + a2 z^-2), a0 = 1, as the W3C Audio EQ Cookbook writes it: a processor that
 * adds its feedback wants a1 and a2 with the other sign.
 */
import { type EqSection, sectionCoefficients, sectionDb } from '../dsp/cookbook.js'
import type { Correction } from '../verdict/stage-result.js'
import { csvHead, csvRows } from './csv.js'

export interface TunerFile {
  readonly name: string
  readonly text: string
}

export const TUNER_RATES_HZ = [48_000, 96_000] as const

const KINDS = { peaking: 'peaking', 'low shelf': 'low_shelf', 'high shelf': 'high_shelf' } as const

export const sectionsToTypeIn = ({ sections }: Correction): EqSection[] =>
  sections.map(({ kind, ...section }) => ({ kind: KINDS[kind], ...section }))

/** What was found is what a processor at this rate makes; near half of it a section of the same settings differs at others. */
const FOUND_HZ = TUNER_RATES_HZ[0]
const TOP_HZ = 16_000

/** Largest difference of a section from itself at the rate for which it was found. */
function offDb(section: EqSection, sampleRateHz: number): number {
  let largest = 0
  for (let freqHz = 30; freqHz <= TOP_HZ; freqHz *= 2 ** (1 / 24)) {
    const difference = sectionDb(section, freqHz, sampleRateHz) - sectionDb(section, freqHz, FOUND_HZ)
    largest = Math.max(largest, Math.abs(difference))
  }
  return Number(largest.toFixed(2))
}

/** @returns flat.csv and biquads.csv; nothing where there is nothing to undo */
export function tunerFiles(corrections: readonly Correction[]): TunerFile[] {
  const rows = corrections.flatMap((correction) =>
    sectionsToTypeIn(correction).map((section, index) => ({ of: correction.of, number: index + 1, section })),
  )
  if (rows.length === 0) return []
  const rounded = (value: number, decimals: number): number => Number(value.toFixed(decimals))
  const settings = rows.map(({ of, number, section: { kind, freqHz, gainDb, q } }) => [
    of,
    number,
    kind.replace('_', ' '),
    Number(freqHz.toPrecision(4)),
    rounded(gainDb, 2),
    rounded(q, 3),
  ])
  const biquads = TUNER_RATES_HZ.flatMap((sampleRateHz) =>
    rows.map(({ of, number, section }) => {
      const { b, a } = sectionCoefficients(section, sampleRateHz)
      return [of, number, sampleRateHz, ...b, ...a, offDb(section, sampleRateHz)]
    }),
  )
  const head = ['output or sum', 'section']
  return [
    {
      name: 'flat.csv',
      text: csvHead([...head, 'kind', 'frequency (Hz)', 'gain (dB)', 'Q']) + csvRows(settings),
    },
    {
      name: 'biquads.csv',
      text:
        csvHead([
          ...head,
          'sample rate (Hz)',
          'b0',
          'b1',
          'b2',
          'a0',
          'a1',
          'a2',
          `off at this rate, up to ${TOP_HZ / 1000} kHz (dB)`,
        ]) + csvRows(biquads),
    },
  ]
}
