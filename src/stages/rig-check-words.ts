/** What is wrong with a rig, each with one thing to do about it; alike inputs are said once. */
import { inputsInWords } from '../rig/input-words.js'
import { fullScaleAtLead, type Rig } from '../rig/rig.js'
import { dbFromRatio } from '../units/level.js'
import { inDb, inHz, inVolts, plain } from '../units/words.js'
import type { Verdict } from '../verdict/parts.js'
import type { MeterState } from './rig-check-meter.js'
import type { InputState } from './rig-check-read.js'

export interface Trouble {
  readonly verdict: Exclude<Verdict, 'pass'>
  /** Inputs that it is about; empty: all, or none. */
  readonly inputs: readonly number[]
  readonly says: string
  readonly remedy: string
}

interface Seen {
  readonly rig: Rig
  readonly inputs: readonly InputState[]
  readonly meter: MeterState | null
  /** Why the meter could not even be opened. */
  readonly meterTrouble: { readonly says: string; readonly remedy: string } | null
  readonly otherRateHz: number | null
  readonly isByHand: boolean
  /** What the capture says of itself. */
  readonly faults: readonly string[]
}

/** Hum over this at the lead is worth a look; the usual limit of an output is 10 dB lower. */
const HUM_DBV_MAX = -70
/** A digital path ends at full scale to the last digit: that is no clipping. */
export const CLIPS_FROM_FS = 1.001
/** A meter that reads thousandths for volts, or volts for thousandths. */
const THOUSAND_DB = 60
const NEAR_THOUSAND_DB = 6
/** Below this many times the meter's fixed part it cannot tell much. */
const FIXED_PARTS_MIN = 3

export function troublesOf(seen: Seen): Trouble[] {
  return [...cardTroubles(seen), ...inputTroubles(seen), ...levelTroubles(seen), ...meterTroubles(seen)]
}

function cardTroubles({ rig, inputs, otherRateHz, faults }: Seen): Trouble[] {
  const { capture } = rig
  const found: Trouble[] = faults.map((says) => ({
    verdict: 'fail',
    inputs: [],
    says: `The capture is not whole: ${says}.`,
    remedy: 'Mend that first: what the inputs read may come from it.',
  }))
  if (otherRateHz !== null) {
    const said = inHz(capture.sampleRateHz)
    found.push({
      verdict: 'fail',
      inputs: [],
      says: `The card runs at ${inHz(otherRateHz)}, the rig file says ${said}.`,
      remedy: `Set the card to ${said}, or capture.sample_rate_hz to ${otherRateHz}.`,
    })
  }
  const bits = inputs.flatMap(({ usedBits }) => (usedBits === null ? [] : [usedBits]))
  // 32 bits are a way to store samples: what matters is a card that gives 16 where more were asked for.
  if (bits.length > 0 && bits.every((used) => used === 16) && capture.bits > 16) {
    found.push({
      verdict: 'unsure',
      inputs: [],
      says: `Every sample fits in 16 bits, the rig file says ${capture.bits}.`,
      remedy: 'Choose a profile or driver of the card with 24 bits, or write bits: 16.',
    })
  }
  return found
}

function inputTroubles({ inputs, isByHand }: Seen): Trouble[] {
  const found: Trouble[] = []
  const say = (
    verdict: Trouble['verdict'],
    which: (input: InputState) => boolean,
    says: (them: string, isOne: boolean) => string,
    remedy: string,
  ): void => {
    const numbers = inputs.filter(which).map(({ inputNumber }) => inputNumber)
    if (numbers.length === 0) return
    found.push({ verdict, inputs: numbers, says: says(sentence(inputsInWords(numbers)), numbers.length === 1), remedy })
  }
  const isSilent = ({ isHeard, stuck, sameAs }: InputState): boolean => !isHeard && stuck === null && sameAs === null
  const what = isByHand ? 'what you started' : "the player's quiet tones"
  say(
    'fail',
    ({ stuck, isHeard }) => stuck === 'zeros' && !isHeard,
    (them, isOne) => `${them} ${isOne ? 'gives' : 'give'} nothing but zeros.`,
    "Switch the input on in the card's mixer; if the card has fewer inputs, lower the count in the rig file.",
  )
  say(
    'fail',
    ({ stuck }) => stuck === 'constant',
    (them, isOne) => `${them} ${isOne ? 'gives' : 'give'} one constant value.`,
    'Switch the card off and on; if it stays so, the input is broken: use another one.',
  )
  const pairs = inputs.filter(({ sameAs, inputNumber }) => sameAs !== null && sameAs < inputNumber)
  for (const { inputNumber, sameAs } of pairs) {
    found.push({
      verdict: 'fail',
      inputs: [sameAs!, inputNumber],
      says: `Inputs ${sameAs} and ${inputNumber} hold the very same samples: the card gives one input twice.`,
      remedy: 'Choose a profile of the card with all its inputs, or take the double one out of the rig file.',
    })
  }
  if (inputs.every(isSilent)) {
    say(
      'fail',
      () => true,
      (them, isOne) => `${isOne ? them : 'Every input'} stays at its floor: nothing of ${what} reaches the card.`,
      'Check that the player feeds the leads, that its volume and mute are right, and that this is the card.',
    )
  } else {
    say(
      'fail',
      isSilent,
      (them, isOne) => `${them} ${isOne ? 'stays' : 'stay'} at the floor: nothing of ${what} arrives there.`,
      'Check the lead; move it while you watch linetrue rig levels with --tone.',
    )
  }
  say(
    'fail',
    ({ clippedCount }) => clippedCount > 0,
    (them, isOne) => `${them} ${isOne ? 'clips' : 'clip'}, though nothing but the quiet tones was played.`,
    "Turn down the card's input gain, and take speaker-level signals off this input; or put a pad in front.",
  )
  return found
}

function levelTroubles({ inputs, rig }: Seen): Trouble[] {
  const found: Trouble[] = []
  // An input that clips already is said as such.
  const overs = inputs.filter(
    ({ atFullFs, clippedCount }) => atFullFs !== null && atFullFs > CLIPS_FROM_FS && clippedCount === 0,
  )
  if (overs.length > 0) {
    const worst = overs.reduce((most, one) => (one.atFullFs! > most.atFullFs! ? one : most))
    found.push({
      verdict: 'unsure',
      inputs: overs.map(({ inputNumber }) => inputNumber),
      says: `${sentence(inputsInWords(overs.map(({ inputNumber }) => inputNumber)))} would clip at full level, input ${worst.inputNumber} by ${plain(dbFromRatio(worst.atFullFs!), 1)} dB.`,
      remedy: 'Turn the player or the input gain down, or put a pad in front and write it as pad_db.',
    })
  }
  const humDbv = ({ hum, inputNumber }: InputState): number =>
    hum === null ? Number.NEGATIVE_INFINITY : dbFromRatio(hum.levelFs * fullScaleAtLead(rig.inputs[inputNumber - 1]))
  const humming = inputs.filter((input) => humDbv(input) > HUM_DBV_MAX)
  if (humming.length > 0) {
    const worst = humming.reduce((most, one) => (humDbv(one) > humDbv(most) ? one : most))
    found.push({
      verdict: 'unsure',
      inputs: humming.map(({ inputNumber }) => inputNumber),
      says: `Hum of ${plain(worst.hum!.freqHz, 0)} Hz on ${inputsInWords(humming.map(({ inputNumber }) => inputNumber))}, up to ${plain(humDbv(worst), 0)} dBV at the lead.`,
      remedy: 'Run the computer on its battery, join the grounds at one point only, or put isolating transformers in.',
    })
  }
  return found
}

function meterTroubles({ meter, meterTrouble, rig }: Seen): Trouble[] {
  const trouble = meterTrouble ?? meter?.trouble
  if (trouble) return [{ verdict: 'fail', inputs: [], says: `Meter: ${trouble.says}.`, remedy: trouble.remedy }]
  if (!meter || meter.readVrms === null || meter.captureVrms === null || meter.apartDbMax === null) return []
  const on = `On input ${meter.inputNumber} the meter reads ${inVolts(meter.readVrms)}, the capture ${inVolts(meter.captureVrms)}`
  const apartDb = dbFromRatio(Math.max(meter.readVrms, 1e-9) / Math.max(meter.captureVrms, 1e-9))
  const doubt = (verdict: Trouble['verdict'], says: string, remedy: string): Trouble[] => [
    { verdict, inputs: [meter.inputNumber], says, remedy },
  ]
  if (Math.abs(Math.abs(apartDb) - THOUSAND_DB) < NEAR_THOUSAND_DB) {
    return doubt('fail', `${on}: a thousand times apart.`, 'Set the meter to volts, not millivolts.')
  }
  if (Math.abs(apartDb) <= meter.apartDbMax) return []
  const { accuracyVrms } = rig.meter!
  const isTooLow = meter.captureVrms < accuracyVrms * FIXED_PARTS_MIN
  if (isTooLow) {
    return doubt(
      'unsure',
      `${on}: too little for this meter, which may be off by ${inVolts(accuracyVrms)}.`,
      'Turn the player up if that is safe, or let linetrue rig calibrate settle it.',
    )
  }
  return doubt(
    'unsure',
    `${on}: ${inDb(apartDb)} apart, ${plain(meter.apartDbMax, 1)} dB may be.`,
    'Check that its probes are on this lead, full_scale_vrms and pad_db; linetrue rig calibrate settles it.',
  )
}

const sentence = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1)
