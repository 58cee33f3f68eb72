/**
 * Settings for the tuner's processor as files: to type in, and as biquad coefficients to load.
 *
 * H(z) = (b0 + b1 z^-1 + b2 z^-2) / (a0 + a1 z^-1 + a2 z^-2), a0 = 1, as the W3C Audio EQ Cookbook writes it: a processor that
 * adds its feedback wants a1 and a2 with the other sign.
 */
import { type EqSection, sectionCoefficients } from '../dsp/cookbook.js'
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
    rounded(freqHz, 2),
    rounded(gainDb, 2),
    rounded(q, 3),
  ])
  const biquads = TUNER_RATES_HZ.flatMap((sampleRateHz) =>
    rows.map(({ of, number, section }) => {
      const { b, a } = sectionCoefficients(section, sampleRateHz)
      return [of, number, sampleRateHz, ...b, ...a]
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
      text: csvHead([...head, 'sample rate (Hz)', 'b0', 'b1', 'b2', 'a0', 'a1', 'a2']) + csvRows(biquads),
    },
  ]
}
