/**
 * A rig with what its calibration says of it, and what a person has to know about that.
 *
 * What doesn't fit is not used: another rig or card, another pad, a date to come. What fits less well counts with more
 * uncertainty: volts that are old, or from another sample rate, get the rig file's own uncertainty on top.
 */
import { ratioFromDb, vrms } from '../units/level.js'
import type { Calibration, Made, VoltsOfInput } from './calibration.js'
import { daysBetween } from './dates.js'
import { inputsInWords } from './input-words.js'
import type { Rig, RigInput, RigLimits } from './rig.js'

export interface CalibrationMessage {
  /** Left out of account, counted with more uncertainty, or only worth knowing. */
  readonly kind: 'not used' | 'less sure' | 'note'
  /** Inputs that it is about; empty: all. */
  readonly inputs: readonly number[]
  readonly says: string
}

export interface Calibrated {
  readonly rig: Rig
  readonly messages: readonly CalibrationMessage[]
}

type Hear = (kind: CalibrationMessage['kind'], says: string, inputs?: readonly number[]) => void

/** Clocks of two computers may differ by this much before a date counts as one to come. */
const AHEAD_DAYS_MAX = 1 / 24

/** How the parts of a calibration are called: what was made, and how to make it anew. */
const PARTS = {
  volts: { was: 'The volts were calibrated', anew: 'Calibrate again: linetrue rig calibrate.' },
  shorted: { was: "The rig's own noise was measured", anew: 'Measure it again: linetrue rig limits.' },
  looped: {
    was: "The rig's own distortion and response were measured",
    anew: 'Measure them again: linetrue rig limits.',
  },
} as const
type PartName = keyof typeof PARTS

/**
 * @param now ISO 8601, UTC
 * @param maxAgeDays age up to which a calibration counts as it is
 * @returns the rig with calibrated volts and its own limits where they hold; else as its file says
 */
export function applyCalibration(rig: Rig, calibration: Calibration, now: string, maxAgeDays: number): Calibrated {
  const messages: CalibrationMessage[] = []
  const hear: Hear = (kind, says, inputs = []) => {
    messages.push({ kind, inputs, says })
  }
  if (calibration.rigName !== rig.name) {
    hear('not used', `The calibration is of another rig, "${calibration.rigName}": not used.`)
    return { rig, messages }
  }
  const usable = <Entry extends OfInput>(name: PartName, part: PartOf<Entry> | null) => {
    const fit = part && fitOf(name, part, rig, now, maxAgeDays, hear)
    return part && fit && { ...fit, madeAt: part.madeAt, byInput: entriesThatFit(name, part.inputs, rig, hear) }
  }
  const volts = usable('volts', calibration.volts)
  const floor = usable('shorted', calibration.shorted)
  const loop = usable('looped', calibration.looped)
  const inputs = rig.inputs.map((input, index): RigInput => {
    const number = index + 1
    const ownFloor = floor?.byInput.get(number)
    const ownLoop = loop?.byInput.get(number)
    const ownVolts = volts?.byInput.get(number)
    const own: RigLimits | null =
      ownFloor || ownLoop
        ? {
            floor: ownFloor ? { madeAt: floor!.madeAt, ...bare(ownFloor) } : null,
            loop: ownLoop ? { madeAt: loop!.madeAt, ...bare(ownLoop) } : null,
          }
        : null
    if (ownLoop?.polarity === -1) {
      const says = `Input ${number} turned the signal over in the loop-back: check its lead for exchanged wires.`
      hear('note', says, [number])
    }
    const kept = ownVolts && volts ? calibrated(input, ownVolts, volts.madeAt, volts.doubt) : input
    return own ? { ...kept, own } : kept
  })
  return { rig: { ...rig, inputs }, messages }
}

/** @param doubt why the rig file's own uncertainty comes on top; null where it doesn't */
function calibrated(input: RigInput, own: VoltsOfInput, madeAt: string, doubt: string | null): RigInput {
  // The budget is stated so that twice the root of its sum of squares is the expanded uncertainty, whatever k was.
  const parts = own.budget.map(({ source, u }) => ({ source, u: (u * own.k) / 2 }))
  return {
    ...input,
    fullScaleVrms: vrms(own.fullScaleVrms * ratioFromDb(-input.padDb)),
    levelUncertaintyDb: doubt === null ? own.expandedDb : Math.hypot(own.expandedDb, input.levelUncertaintyDb),
    levelBudget: doubt === null ? parts : [...parts, { source: doubt, u: input.levelUncertaintyDb / 2 }],
    calibratedAt: madeAt,
  }
}

type PartOf<Entry> = Made & { readonly inputs: readonly Entry[] }

interface Fit {
  /** Why the volts are less sure than on their day; null where they are not. */
  readonly doubt: string | null
}

/** Whether a part belongs to this card at these settings, and is of an age that counts; null, and said, where it doesn't. */
function fitOf(
  name: PartName,
  { capture, madeAt }: Made,
  rig: Rig,
  now: string,
  maxAgeDays: number,
  hear: Hear,
): Fit | null {
  const { was, anew } = PARTS[name]
  const day = madeAt.slice(0, 10)
  const ageDays = daysBetween(madeAt, now)
  if (ageDays < -AHEAD_DAYS_MAX) {
    hear('not used', `${was} on ${day}, which is still to come: not used. Check the clock of this computer.`)
    return null
  }
  if (capture.driver !== rig.capture.driver || capture.device !== rig.capture.device) {
    hear(
      'not used',
      `${was} with another card, ${cardWords(capture)}; the rig file says ${cardWords(rig.capture)}: not used.`,
    )
    return null
  }
  const isOld = ageDays > maxAgeDays
  const isOtherRate = capture.sampleRateHz !== rig.capture.sampleRateHz
  const isOtherBits = capture.bits !== rig.capture.bits
  // Full scale in volts belongs to the analog side; noise, distortion and response to the converter at its settings.
  if (name !== 'volts' && (isOtherRate || isOtherBits)) {
    hear(
      'not used',
      `${was} at ${settingWords(capture)}, the rig file says ${settingWords(rig.capture)}: not used. ${anew}`,
    )
    return null
  }
  const mayDiffer = name === 'shorted' ? 'it may have changed. ' : 'they may have changed. '
  const onTop = name === 'volts' ? "they count with the rig file's uncertainty on top. " : ''
  if (isOld) {
    const says = `${was} on ${day}, ${Math.floor(ageDays)} days ago; ${maxAgeDays} are allowed: ${onTop || mayDiffer}${anew}`
    hear('less sure', says)
  }
  if (isOtherRate) {
    hear(
      'less sure',
      `${was} at ${settingWords(capture)}, the rig file says ${settingWords(rig.capture)}: ${onTop}${anew}`,
    )
  }
  return { doubt: isOld ? 'age of the calibration' : isOtherRate ? 'another sample rate' : null }
}

interface OfInput {
  readonly inputNumber: number
  readonly padDb: number
}

/** The entries whose pad is the rig file's, by input; the others are said, alike ones in one line. */
function entriesThatFit<Entry extends OfInput>(
  name: PartName,
  entries: readonly Entry[],
  rig: Rig,
  hear: Hear,
): ReadonlyMap<number, Entry> {
  const fitting = new Map<number, Entry>()
  const others = new Map<string, number[]>()
  rig.inputs.forEach(({ padDb }, index) => {
    const number = index + 1
    const entry = entries.find(({ inputNumber }) => inputNumber === number)
    if (entry && Math.abs(entry.padDb - padDb) < 0.005) fitting.set(number, entry)
    else {
      const why = entry ? `with a pad of ${entry.padDb} dB, the rig file says ${padDb} dB` : ''
      others.set(why, [...(others.get(why) ?? []), number])
    }
  })
  const { was, anew } = PARTS[name]
  for (const [why, numbers] of others) {
    const named = inputsInWords(numbers)
    const says = why === '' ? `${was} without ${named}. ${anew}` : `${was} on ${named} ${why}: not used there. ${anew}`
    hear('not used', says, numbers)
  }
  return fitting
}

const cardWords = ({ driver, device }: { driver: string; device: string | null }): string =>
  device === null ? `driver ${driver}` : `driver ${driver}, device ${device}`

const settingWords = ({ sampleRateHz, bits }: { sampleRateHz: number; bits: number }): string =>
  `${sampleRateHz / 1000} kHz and ${bits} bits`

/** What was found on an input, without what it was found on. */
function bare<Entry extends OfInput>({ inputNumber, padDb, ...found }: Entry): Omit<Entry, keyof OfInput> {
  return found
}
