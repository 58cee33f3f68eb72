/**
 * The plan before a run: does an output's highest level clip its input, or does the input's own noise or distortion stand so
 * near the job's limits that figures could only be "at most"? And which pad would do.
 *
 * Levels are rms volts of a sine at the vehicle's lead: an output of 6 V peak is 4.24 V.
 */
import type { Job, OutputSpec } from '../job/job.js'
import { numbersInWords } from '../rig/input-words.js'
import { fullScaleAtLead, type PatchSpec, type Rig, type RigInput } from '../rig/rig.js'
import { dbFromRatio, ratioFromDb } from '../units/level.js'
import { inVolts, plain } from '../units/words.js'

export type Limited = 'noise' | 'noise A' | 'thd' | 'thd+n'

export interface LeadHeadroom {
  readonly patchName: string
  readonly outputNumber: number
  readonly inputNumber: number
  /** 0 dBFS on every side that it hears, at the upper end of its tolerance. */
  readonly highestVrms: number
  /** Of the input, at the lead. */
  readonly fullScaleVrms: number
  /** Full scale over the highest level; below 0 it clips. */
  readonly marginDb: number
  /** The input's own noise, as if it were on the lead: 20 Hz to 20 kHz. */
  readonly floorDbv: number
  /** From the rig's own limits; else an ideal converter of its bits, which no card reaches. */
  readonly isFloorMeasured: boolean
  readonly kind: 'clips' | 'may clip' | 'noisy' | 'fine'
  /** Checks that could only be "at most" or unsure. */
  readonly limited: readonly Limited[]
  readonly padDb: number
  /** Least usual pad that leaves a margin; null where none is enough. */
  readonly padDbWanted: number | null
}

export interface HeadroomLine {
  readonly kind: 'clips' | 'may clip' | 'noisy' | 'note'
  readonly outputs: readonly number[]
  readonly says: string
}

export interface HeadroomPlan {
  readonly leads: readonly LeadHeadroom[]
  /** Worst first; outputs of which the same is to be said share a line. */
  readonly lines: readonly HeadroomLine[]
}

/** Attenuations that pads are sold with. Common practice, no source. */
const USUAL_PADS_DB = [0, 3, 6, 10, 12, 15, 20, 30, 40] as const
/** Room that a pad has to leave at least, where the input is known better than that. */
const MARGIN_DB = 1
/** Nearer than this to a limit, what the rig adds takes part in the figure: 10 dB below adds 0.4 dB. */
const NEAR_DB = 10
/** A pad is worth changing for this much. */
const PAD_GAIN_DB_MIN = 6
/** The steady tones stand this far below full scale. */
const TONE_DBFS = -3

export function planHeadroom(job: Job, rig: Rig, patches: readonly PatchSpec[]): HeadroomPlan {
  const leads = patches.flatMap(({ name, leads: wired }) =>
    wired.map(({ inputNumber, outputNumber }) => {
      const spec = job.outputs.find(({ number }) => number === outputNumber)!
      return headroomOf(name, inputNumber, spec, rig.inputs[inputNumber - 1], rig.capture.bits, job)
    }),
  )
  return { leads, lines: linesOf(leads) }
}

function headroomOf(
  patchName: string,
  inputNumber: number,
  spec: OutputSpec,
  input: RigInput,
  bits: number,
  { limits }: Job,
): LeadHeadroom {
  const nominalVrms = spec.levelVrms * (Math.abs(spec.leftGain) + Math.abs(spec.rightGain))
  const highestVrms = nominalVrms * ratioFromDb(spec.levelToleranceDb)
  const fullScaleVrms = fullScaleAtLead(input)
  const marginDb = dbFromRatio(fullScaleVrms / highestVrms)

  const floor = input.own?.floor ?? null
  const idealDbfs = idealFloorDbfs(bits)
  const floorDbv = (floor?.noiseDbfs ?? idealDbfs) + dbFromRatio(fullScaleVrms)
  const floorADbv = (floor?.noiseADbfs ?? idealDbfs) + dbFromRatio(fullScaleVrms)
  const toneDbv = dbFromRatio(nominalVrms) + TONE_DBFS
  const ownThdDb = dbFromRatio(Math.max(0, ...(input.own?.loop?.thd ?? []).map(({ ratio }) => ratio)))
  const near: readonly (readonly [Limited, number, number])[] = [
    ['noise', floorDbv, limits.noiseDbvMax],
    ['noise A', floorADbv, limits.noiseDbvAMax],
    ['thd', ownThdDb, dbFromRatio(limits.thdPctMax / 100)],
    ['thd+n', Math.max(floorDbv - toneDbv, ownThdDb), dbFromRatio(limits.thdNPctMax / 100)],
  ]
  const limited = near.filter(([, own, limit]) => own > limit - NEAR_DB).map(([name]) => name)
  const wantedDb = input.padDb - marginDb + Math.max(MARGIN_DB, input.levelUncertaintyDb)
  return {
    patchName,
    outputNumber: spec.number,
    inputNumber,
    highestVrms,
    fullScaleVrms,
    marginDb,
    floorDbv,
    isFloorMeasured: floor !== null,
    kind:
      marginDb < 0 ? 'clips' : marginDb < input.levelUncertaintyDb ? 'may clip' : limited.length > 0 ? 'noisy' : 'fine',
    limited,
    padDb: input.padDb,
    padDbWanted: USUAL_PADS_DB.find((padDb) => padDb >= wantedDb) ?? null,
  }
}

/**
 * Noise of an ideal word with TPDF dither, against a full-scale sine.
 * Source: q² / 4 of error power; Lipshitz, Wannamaker, Vanderkooy, JAES 40(5), 1992. 32-bit words hold 24 bits of converter.
 */
const idealFloorDbfs = (bits: number): number => dbFromRatio(2 ** (1 - Math.min(bits, 24)) * Math.SQRT1_2)

const ORDER = ['clips', 'may clip', 'noisy', 'note'] as const

function linesOf(leads: readonly LeadHeadroom[]): HeadroomLine[] {
  const found = new Map<string, { kind: HeadroomLine['kind']; outputs: number[]; says: string }>()
  for (const lead of leads) {
    const kind = lead.kind === 'fine' ? 'note' : lead.kind
    const says = wordsOf(lead)
    if (says === null) continue
    const entry = found.get(says) ?? { kind, outputs: [], says }
    entry.outputs.push(lead.outputNumber)
    found.set(says, entry)
  }
  return [...found.values()]
    .sort((a, b) => ORDER.indexOf(a.kind) - ORDER.indexOf(b.kind) || a.outputs[0] - b.outputs[0])
    .map(({ kind, outputs, says }) => {
      const who = `Output${outputs.length === 1 ? '' : 's'} ${numbersInWords(outputs)}`
      return { kind, outputs, says: `${who}: ${says}` }
    })
}

/** @returns null where nothing is to be said */
function wordsOf(lead: LeadHeadroom): string | null {
  const { kind, highestVrms, fullScaleVrms, marginDb, padDb, padDbWanted } = lead
  const levels = `up to ${inVolts(highestVrms)}, the input takes ${inVolts(fullScaleVrms)}`
  if (kind === 'clips') return `${levels}: it would clip, by ${plain(-marginDb, 1)} dB. ${padWords(lead)}`
  if (kind === 'may clip') return `${levels}, give or take its uncertainty: it may clip. ${padWords(lead)}`
  const isSmaller = padDbWanted !== null && padDb - padDbWanted >= (kind === 'noisy' ? 1 : PAD_GAIN_DB_MIN)
  const lower = `the rig's own noise would be ${plain(padDb - (padDbWanted ?? 0), 0)} dB lower`
  const smaller = padDbWanted
    ? `With a pad of ${padDbWanted} dB in place of ${padDb} dB ${lower}.`
    : `Without its pad of ${padDb} dB ${lower}.`
  if (kind === 'fine') return isSmaller ? `${levels}. ${smaller}` : null
  const what = lead.limited.map((name) => NAMES[name]).join(', ')
  const whose = lead.isFloorMeasured
    ? "The rig's own noise or distortion stands"
    : 'Even an ideal converter of its bits stands'
  return `${what} can be told as "at most" only. ${whose} too near the limit (noise ${plain(lead.floorDbv, 0)} dBV). ${isSmaller ? smaller : 'A quieter card, or wider limits, would settle it.'}`
}

const NAMES: Readonly<Record<Limited, string>> = {
  noise: 'noise',
  'noise A': 'A-weighted noise',
  thd: 'THD',
  'thd+n': 'THD+N',
}

function padWords({ padDb, padDbWanted }: LeadHeadroom): string {
  if (padDbWanted === null) return 'No usual pad is enough: is this a line output?'
  if (padDbWanted === 0) return `Without its pad of ${padDb} dB it would do.`
  return `A pad of ${padDbWanted} dB${padDb > 0 ? ` in place of ${padDb} dB` : ''} would do.`
}
