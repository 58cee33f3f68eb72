/** Equalisation found: each section against the one that was drawn, where as many were found. */
import type { FoundSection } from '../../src/measure/equaliser.js'
import type { Measurand, Read } from './measurand.js'
import type { Trial } from './trial.js'
import { played } from './truth.js'
import type { DrawnSection } from './vehicle.js'

function sections({ truth, outputs: [, two] }: Read, of: (found: FoundSection, drawn: DrawnSection) => Trial): Trial[] {
  const found = two.equaliser?.sections ?? []
  const drawn = truth.vehicle.sections
  if (found.length !== drawn.length || found.some(({ kind }) => kind !== 'peaking')) return []
  return drawn.map((section, k) => of(found[k], { ...section, freqHz: played(truth, section.freqHz) }))
}

const SHARED = {
  range: '1 to 4 sections, 1 to 9 dB, 50 Hz to 10 kHz, Q 0.7 to 5',
  outside: 'measure/equaliser (cookbook, closed forms)',
  above: 'an error of the fitted model is allowed for',
}

export const equaliserMeasurands: readonly Measurand[] = [
  {
    ...SHARED,
    name: "a section's gain",
    unit: 'dB',
    read: (read) => sections(read, (found, drawn) => ({ error: found.gainDb - drawn.gainDb, u: 2 * found.gainDbU })),
  },
  {
    ...SHARED,
    name: "a section's frequency",
    unit: '%',
    read: (read) =>
      sections(read, (found, drawn) => ({
        error: (100 * (found.freqHz - drawn.freqHz)) / drawn.freqHz,
        u: (200 * found.freqHzU) / drawn.freqHz,
      })),
  },
  {
    ...SHARED,
    name: "a section's Q",
    unit: '%',
    read: (read) =>
      sections(read, (found, drawn) => ({
        error: (100 * (found.q - drawn.q)) / drawn.q,
        u: (200 * found.qU) / drawn.q,
      })),
  },
]

/** As many sections as were drawn, and none on the flat output. */
export const isAsDrawn = ({ truth, outputs }: Read): boolean =>
  truth.vehicle.sections.length === (outputs[1].equaliser?.sections.length ?? 0)
