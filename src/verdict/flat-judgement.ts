/**
 * Whether outputs and sums are flat, in the trade's words: checks, findings, the tuner's settings, a table and plots.
 *
 * What belongs to the stage of the outputs is left to it: a dead output, or a sum whose parts are not aligned, is unsure here
 * and never fails for that.
 */
import { type EqSection, sectionDb } from '../dsp/cookbook.js'
import { type FlatOutcome, type FlatTarget, isRead } from '../measure/flat-targets.js'
import { type Deviations, furthest } from '../measure/flatness.js'
import { sharedSections } from '../measure/shared-sections.js'
import { inDb, inHz, listed, plain, signed } from '../units/words.js'
import { figureOf, held, worst } from './decision.js'
import type { Check, Figure, Finding, Verdict } from './parts.js'
import type { Correction, StagePlot, StageResult, StageTable } from './stage-result.js'

type Judged = Pick<
  StageResult,
  'verdict' | 'summary' | 'figures' | 'checks' | 'findings' | 'tables' | 'plots' | 'corrections'
>

/** Sections that so many outputs share are of something in front of them all. */
const SHARED_MIN = 3
const PROCESSING_HZ = 48_000

/** @param isBesideOutputs the outputs are a stage of this run: what is theirs is named there and not judged here */
export function judgeFlat(
  all: readonly FlatTarget[],
  fromHz: number,
  toHz: number,
  isBesideOutputs = false,
): Judged & Pick<StageResult, 'notes'> {
  const left = isBesideOutputs ? all.filter(isOfOutputs) : []
  const targets = all.filter((target) => !left.includes(target))
  const checks = targets.map(checkOf)
  const verdicts = checks.map(({ verdict }) => verdict)
  const shared = sharedAmong(targets)
  const verdict = targets.length === 0 ? 'unsure' : worst(verdicts)
  return {
    verdict,
    notes: left.map(({ name }) => `Not judged here: ${name}. What is wrong with it stands with the outputs.`),
    summary:
      targets.length === 0 ? 'Nothing could be judged: see the outputs' : summaryOf(targets, verdicts, fromHz, toHz),
    figures: targets.flatMap(figuresOf),
    checks,
    findings: targets.flatMap((target, k) => findingOf(target, verdicts[k], shared)),
    tables: [tableOf([...targets, ...left], [...verdicts, ...left.map(() => null)], fromHz, toHz)],
    plots: targets.flatMap((target, k) => (verdicts[k] === 'pass' ? [] : plotOf(target))),
    corrections: targets.flatMap(correctionOf),
  }
}

/** Dead, or not aligned: faults that the stage of the outputs names. */
const isOfOutputs = (target: FlatTarget): boolean =>
  isRead(target.outcome)
    ? target.outcome.alignment !== null && verdictOf(target) === 'unsure'
    : target.outcome.isDead === true

function verdictOf({ outcome, toleranceDb }: FlatTarget): Verdict {
  if (!isRead(outcome)) return 'unsure'
  const { highest, lowest } = outcome.deviations
  const found = worst([
    held(highest.value, highest.u, { max: toleranceDb }),
    held(lowest.value, lowest.u, { min: -toleranceDb }),
  ])
  // Aligned it may be flat; as it stands it is not.
  return outcome.alignment && found === 'pass' ? 'unsure' : found
}

const spanWords = ({ highest, lowest }: Deviations): string =>
  `${inDb(lowest.value)} at ${inHz(lowest.freqHz!)} to ${inDb(highest.value)} at ${inHz(highest.freqHz!)}`

function checkOf(target: FlatTarget): Check {
  const { name, outcome, toleranceDb } = target
  const verdict = verdictOf(target)
  const base = { name: `flat, ${name}`, verdict, expected: `within ± ${toleranceDb} dB of its mean level` }
  if (!isRead(outcome)) return { ...base, figure: null, measured: 'not read', why: outcome.because }
  const { deviations, alignment } = outcome
  const far = furthest(deviations)
  return {
    ...base,
    figure: figureOf('deviation from flat', 'dB', far),
    measured: `${spanWords(deviations)}${alignment ? ', its outputs aligned' : ''}`,
    why:
      verdict === 'pass'
        ? ''
        : verdict === 'fail'
          ? `It is ${inDb(far.value)} from its mean level at ${inHz(far.freqHz!)}.`
          : alignment
            ? `As it stands it is ${inDb(alignment.worstDb)} at ${inHz(alignment.worstHz)}: its outputs are not aligned.`
            : `The limit lies within the uncertainty of ± ${plain(far.u, 2)} dB.`,
  }
}

const figuresOf = ({ name, outcome }: FlatTarget): Figure[] =>
  isRead(outcome)
    ? [
        figureOf(`highest deviation, ${name}`, 'dB', outcome.deviations.highest)!,
        figureOf(`lowest deviation, ${name}`, 'dB', outcome.deviations.lowest)!,
      ]
    : []

const KIND_WORDS = { peaking: 'peaking', low_shelf: 'low shelf', high_shelf: 'high shelf' } as const

export const sectionWords = ({ kind, freqHz, gainDb, q }: EqSection): string =>
  `${KIND_WORDS[kind]} ${plain(freqHz, freqHz >= 1000 ? 0 : 1)} Hz, ${signed(gainDb, 1)} dB, Q ${plain(q, 2)}`

function findingOf(target: FlatTarget, verdict: Verdict, shared: readonly EqSection[]): Finding[] {
  const { name, outputs, outcome, toleranceDb } = target
  if (verdict === 'pass') return []
  const who = outputs.length === 1 ? `Output ${name}` : `The ${name}`
  const base = { kind: 'not flat' as const, verdict, outputs: [...outputs] }
  if (!isRead(outcome)) {
    return [
      {
        ...base,
        title: `${who} could not be looked at`,
        because: outcome.because,
        next: 'See the stage of the outputs: what it says about this output comes first.',
      },
    ]
  }
  const { deviations, equaliser, undo, undone, undoFirst, alignment } = outcome
  const far = furthest(deviations)
  const place = `${inDb(far.value)} at ${inHz(far.freqHz!)}`
  if (alignment && verdict === 'unsure') {
    return [
      {
        ...base,
        title: `${who} is flat only with its outputs aligned`,
        because: `As it stands: ${inDb(alignment.worstDb)} at ${inHz(alignment.worstHz)}. Aligned: ${spanWords(deviations)}.`,
        next: `${alignment.isTurned ? 'They are of opposite polarity: see with the outputs which one is turned. ' : ''}Align them (${alignment.says.join('; ')}), then take it again.`,
      },
    ]
  }
  const left = Math.abs(furthest(undone).value)
  const sections = equaliser?.sections ?? []
  const found =
    sections.length > 0
      ? `Found in it: ${listed(sections.map(sectionWords))}.`
      : 'No few equaliser sections follow its curve.'
  const common = sections.filter((section) => shared.some((other) => isAlike(section, other)))
  const commonWords =
    common.length > 0
      ? 'The same is in most outputs: set bass, treble, loudness and sound effects to zero and take it again. What is still there: '
      : ''
  const settings = `type in ${undo.map(sectionWords).join('; ')}. That leaves ${left < 0.005 ? 'less than 0.01' : `± ${plain(left, 2)}`} dB${left > toleranceDb ? ', more than the tolerance: the rest is not explained by sections' : ''}.`
  return [
    {
      ...base,
      title: verdict === 'fail' ? `${who} is not flat: ${place}` : `${who} may not be flat: ${place}`,
      because: `${spanWords(deviations)}; tolerance ± ${toleranceDb} dB, U ${far.u < 0.005 ? 'under 0.01' : `± ${plain(far.u, 2)}`} dB. ${found}`,
      next:
        undoFirst.length > 0
          ? `Type in the settings of output ${listed(undoFirst)} first, then take it again: they change this sum too.`
          : undo.length > 0
            ? `${commonWords}${commonWords ? settings : settings[0].toUpperCase() + settings.slice(1)}`
            : 'Set all processing of the vehicle to zero and take it again; what stays has to be tuned by its curve, as no settings are known that undo it.',
    },
  ]
}

const isAlike = (one: EqSection, other: EqSection): boolean =>
  Math.abs(Math.log(one.freqHz / other.freqHz)) < 0.1 && one.gainDb * other.gainDb > 0

function sharedAmong(targets: readonly FlatTarget[]): EqSection[] {
  const singles = targets.flatMap(({ outputs, outcome }) => {
    if (outputs.length > 1 || !isRead(outcome) || !outcome.equaliser) return []
    return [{ outputNumber: outputs[0], curve: outcome.curve, band: outcome.band, equaliser: outcome.equaliser }]
  })
  return sharedSections(singles, PROCESSING_HZ)
    .filter(({ outputNumbers, lackingNumbers }) => {
      const able = outputNumbers.length + lackingNumbers.length
      return outputNumbers.length >= Math.max(SHARED_MIN, 0.6 * able)
    })
    .map(({ section }) => section)
}

function correctionOf({ name, outputs, outcome }: FlatTarget): Correction[] {
  if (!isRead(outcome) || outcome.undo.length === 0) return []
  return [
    {
      of: name,
      outputs: [...outputs],
      sections: outcome.undo.map(({ kind, freqHz, gainDb, q }) => ({ kind: KIND_WORDS[kind], freqHz, gainDb, q })),
      leavesDb: Math.abs(furthest(outcome.undone).value),
    },
  ]
}

function tableOf(
  targets: readonly FlatTarget[],
  verdicts: readonly (Verdict | null)[],
  fromHz: number,
  toHz: number,
): StageTable {
  return {
    caption: `Deviation from the mean level, ${inHz(fromHz)} to ${inHz(toHz)} or as far as each one's band reaches.`,
    head: ['Output or sum', 'Lowest', 'at', 'Highest', 'at', 'Tolerance', 'Sections', 'Undone'],
    rows: targets.map(({ name, outcome, toleranceDb }, k) => ({
      cells: [
        name,
        ...(isRead(outcome) ? readCells(outcome, toleranceDb) : ['–', '', '–', '', '', outcome.because, '']),
      ],
      verdict: verdicts[k],
    })),
  }
}

function readCells({ deviations, equaliser, undo, undone }: FlatOutcome, toleranceDb: number): string[] {
  const { highest, lowest } = deviations
  const count = equaliser?.sections.length ?? 0
  return [
    inDb(lowest.value),
    inHz(lowest.freqHz!),
    inDb(highest.value),
    inHz(highest.freqHz!),
    `± ${toleranceDb} dB`,
    count === 0 ? (equaliser?.isExplained === false ? 'not explained' : 'none') : String(count),
    undo.length > 0 ? `± ${plain(Math.abs(furthest(undone).value), 2)} dB` : '',
  ]
}

function plotOf({ name, outcome, toleranceDb }: FlatTarget): StagePlot[] {
  if (!isRead(outcome)) return []
  const { deviations, undone, undo } = outcome
  const series = (label: string, { freqHz, levelDb }: Deviations): StagePlot['series'][number] => {
    const places = [...freqHz.keys()].filter((n) => n % 2 === 0)
    return { name: label, x: places.map((n) => freqHz[n]), y: places.map((n) => levelDb[n]) }
  }
  return [
    {
      caption: `${name}: deviation from its mean level${undo.length > 0 ? ', and with the settings that undo it' : ''}.`,
      alt: `${name} deviates from its mean level by ${spanWords(deviations)}.`,
      x: { says: 'frequency (Hz)', scale: 'log' },
      y: { says: 'deviation (dB)', scale: 'linear' },
      series: [series('as it is', deviations), ...(undo.length > 0 ? [series('with the settings', undone)] : [])],
      limits: [
        { says: 'tolerance', y: toleranceDb },
        { says: 'tolerance', y: -toleranceDb },
      ],
      marks: undo
        .filter((section) => Math.abs(sectionDb(section, section.freqHz, PROCESSING_HZ)) > 0.5)
        .map(({ freqHz }) => ({ says: inHz(freqHz), x: freqHz })),
    },
  ]
}

function summaryOf(targets: readonly FlatTarget[], verdicts: readonly Verdict[], fromHz: number, toHz: number): string {
  const range = `${inHz(fromHz)} to ${inHz(toHz)}`
  const named = (wanted: Verdict): string[] =>
    targets.flatMap(({ name, outcome }, k) => {
      if (verdicts[k] !== wanted) return []
      if (!isRead(outcome)) return [name]
      const far = furthest(outcome.deviations)
      return [wanted === 'fail' ? `${name} (${inDb(far.value)} at ${inHz(far.freqHz!)})` : name]
    })
  const [failing, unsure] = [named('fail'), named('unsure')]
  const unsureWords = unsure.length > 0 ? `not settled: ${listed(unsure)}` : ''
  if (failing.length > 0) {
    const tail = unsureWords ? `; ${unsureWords}` : ''
    return `${failing.length} of ${targets.length} are not flat, ${range}: ${listed(failing)}${tail}`
  }
  if (unsureWords) return `${targets.length - unsure.length} of ${targets.length} are flat, ${range}; ${unsureWords}`
  return targets.length === 1 ? `${targets[0].name} is flat, ${range}` : `All ${targets.length} are flat, ${range}`
}
