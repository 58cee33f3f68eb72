/**
 * Calibrates the volts of a rig's inputs: a steady tone on each lead, read by the meter and by the capture at once.
 *
 * What the rig file says is only held against the result: it doesn't enter it.
 */
import type { Feed, Made, VoltsOfInput, VoltsPart } from '../rig/calibration.js'
import { fullScaleOf, offDb, type VoltsReading } from '../rig/full-scale.js'
import { fullScaleAtLead, type MeterSpec, type Rig, type RigInput } from '../rig/rig.js'
import type { Bench, Meter } from '../rig/roles.js'
import { ratioFromDb } from '../units/level.js'
import { StopError } from '../units/stop.js'
import { inDb, inHz, inVolts } from '../units/words.js'
import type { OnProgress } from './progress.js'
import { checkNotClipped, peakToPlay, probeGains, toneOf, tonesFor } from './rig-sound.js'
import { pause, takeOnce } from './take.js'

export const REFERENCE_HZ = 997
/** Level at the loudest input for the reference, and how far below it the other level lies. */
const HIGH_DBFS = -3
const STEP_DB = 20
/** A player that can give no more than this needs no more either: its last bit is left to others. */
const PLAYED_PEAK_FS_MAX = 0.95
/** Readings of other levels and frequencies: they only say how far the reference holds. */
const OTHER_READING_COUNT = 5
/** A live meter takes a moment to settle and a few readings that agree. */
const TONE_S = { simulated: 1.4, live: 6 } as const
const SETTLE_S = 1.5
/** Further from the rig file than this no two true values are: a wrong pad, a wrong input, a wrong unit. */
const IMPLAUSIBLE_DB = 3
/** A meter that reads thousandths or thousands of volts for volts. */
const THOUSAND_DB = 60

export interface CalibrateRequest {
  readonly rig: Rig
  /** All inputs in parallel, or one after the other. */
  readonly feed: Exclude<Feed, 'both'>
  /** Frequencies besides the reference. */
  readonly othersHz: readonly number[]
  /** Readings at the reference. */
  readonly readingCount: number
  readonly made: Pick<Made, 'madeAt' | 'program'>
}

/**
 * @returns the volts of every input, in their order
 * @throws StopError when there is no meter, it or an input doesn't answer as it should, or a result can't be true
 */
export async function calibrateVolts(
  bench: Bench,
  { rig, feed, othersHz, readingCount, made }: CalibrateRequest,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<VoltsPart> {
  const { meter } = bench
  if (!meter || !rig.meter) {
    throw new StopError(
      'this rig has no meter to calibrate against',
      `rig "${rig.name}"`,
      'Add meter: to the rig file.',
    )
  }
  const spec = rig.meter
  const says = await meter.identify(signal)
  const all = rig.inputs.map((_, index) => index + 1)
  const groups = feed === 'all' ? [all] : all.map((number) => [number])
  const inputs: VoltsOfInput[] = []
  for (const fed of groups) {
    const meterInput = fed.includes(spec.inputNumber) ? spec.inputNumber : fed[0]
    const detail = fed.length > 1 || all.length === 1 ? '' : `input ${fed[0]}`
    await bench.connect({ kind: 'looped', inputNumbers: fed, meterInput }, signal)
    const gains = await probeGains(bench, fed, detail, onProgress, signal)
    const highPeakFs = peakToPlay(gains, ratioFromDb(HIGH_DBFS), PLAYED_PEAK_FS_MAX)
    const points = [
      { freqHz: REFERENCE_HZ, peakFs: highPeakFs, count: readingCount },
      { freqHz: REFERENCE_HZ, peakFs: highPeakFs * ratioFromDb(-STEP_DB), count: OTHER_READING_COUNT },
      ...othersHz.map((freqHz) => ({ freqHz, peakFs: highPeakFs, count: OTHER_READING_COUNT })),
    ]
    const readings: (readonly (readonly VoltsReading[])[])[] = []
    for (const { freqHz, peakFs, count } of points) {
      const sound = await tonesFor(TONE_S[bench.isSimulated ? 'simulated' : 'live'], [{ freqHz, peakFs }])
      const atPoint: (readonly VoltsReading[])[] = []
      for (let i = 0; i < count; i++) {
        const step = `tone at ${inHz(freqHz)}, reading ${i + 1} of ${count}`
        atPoint.push(await readOnce(bench, meter, sound, freqHz, fed, { step, detail }, onProgress, signal))
        const [first] = atPoint
        if (readings.length === 0 && i === 0) checkPlausible(fed, first, rig, spec, meter)
      }
      readings.push(atPoint)
    }
    fed.forEach((inputNumber, k) => {
      const seen = points.map(({ freqHz }, p) => ({ freqHz, readings: readings[p].map((reading) => reading[k]) }))
      inputs.push(voltsOf(inputNumber, rig.inputs[inputNumber - 1], fullScaleOf(seen, spec)))
    })
  }
  return {
    ...made,
    capture: { ...rig.capture, says: bench.capture.where },
    meter: { says, accuracyPct: spec.accuracyPct, accuracyVrms: spec.accuracyVrms },
    feed,
    inputs,
  }
}

function voltsOf(inputNumber: number, input: RigInput, found: ReturnType<typeof fullScaleOf>): VoltsOfInput {
  const rigFileVrms = fullScaleAtLead(input)
  const difference = offDb(found.fullScaleVrms, rigFileVrms)
  const rigFile = { rigFileVrms, rigFileU: input.levelUncertaintyDb, differenceDb: difference }
  return { inputNumber, padDb: input.padDb, ...rigFile, ...found }
}

/** One tone: what the meter reads while it sounds, and the capture of every fed input. */
async function readOnce(
  bench: Bench,
  meter: Meter,
  sound: Awaited<ReturnType<typeof tonesFor>>,
  freqHz: number,
  fed: readonly number[],
  says: { step: string; detail: string },
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<VoltsReading[]> {
  const taking = takeOnce(bench, sound, null, says, onProgress, signal)
  // The model plays at once and its meter remembers; a real one has to be read while the tone sounds.
  const reading = bench.isSimulated
    ? taking.then(() => meter.readAcVrms(signal))
    : pause(SETTLE_S, signal).then(() => meter.readAcVrms(signal))
  const [{ audio, faults }, meterVrms] = await Promise.all([taking, reading])
  checkNotClipped(bench, audio, fed)
  if (faults.length > 0) {
    const remedy = 'Close what else uses the card or the processor, then give the same command again.'
    throw new StopError(`the capture is not whole: ${faults[0]}`, bench.capture.where, remedy, 'instrument')
  }
  return fed.map((number) => {
    const { tone, restRatio } = toneOf(audio.channels[number - 1], freqHz, audio.sampleRateHz)
    return { meterVrms, peakFs: tone.peakFs, restRatio }
  })
}

/**
 * A first look, before minutes are spent on it.
 * @throws StopError when the meter reads nothing, or full scale comes out where it can't be
 */
function checkPlausible(
  fed: readonly number[],
  readings: readonly VoltsReading[],
  rig: Rig,
  spec: MeterSpec,
  meter: Meter,
): void {
  const [{ meterVrms }] = readings
  const off = fed.map((number, k) => {
    const said = fullScaleAtLead(rig.inputs[number - 1])
    const found = meterVrms / readings[k].peakFs
    return { number, said, found, db: offDb(Math.max(found, 1e-12), said) }
  })
  const inThousands = off.every(({ db }) => Math.abs(Math.abs(db) - THOUSAND_DB) < IMPLAUSIBLE_DB)
  if (inThousands && off.every(({ db }) => db > 0 === off[0].db > 0)) {
    throw new StopError(
      `the meter reads ${off[0].db > 0 ? 'a thousand times too much' : 'a thousandth of what it should'}: ${Number(meterVrms.toPrecision(4))} where ${inVolts((meterVrms * off[0].said) / off[0].found)} are on the lead`,
      meter.where,
      `Set it to volts: it seems to answer in ${off[0].db > 0 ? 'millivolts' : 'kilovolts'}.`,
      'instrument',
    )
  }
  if (meterVrms <= 2 * spec.accuracyVrms) {
    throw new StopError(
      `the meter reads ${inVolts(meterVrms)} while the tone plays`,
      meter.where,
      `Put its leads across the lead of ${fed.length === 1 ? `input ${fed[0]}` : 'one of the inputs'}, and set it to AC volts.`,
      'instrument',
    )
  }
  const [worst] = [...off].sort((a, b) => Math.abs(b.db) - Math.abs(a.db))
  if (Math.abs(worst.db) <= IMPLAUSIBLE_DB) return
  const { number, found, said, db } = worst
  const others = off.filter((one) => Math.abs(one.db) > IMPLAUSIBLE_DB).length - 1
  throw new StopError(
    `input ${number} comes out at ${inVolts(found)} for full scale, the rig file says ${inVolts(said)} (${inDb(db)}): no calibration is that far off${others > 0 ? `; ${others} more like it` : ''}`,
    `rig "${rig.name}"`,
    'Check its pad and full scale in the rig file, that the tone is on this input, and the meter across the same lead.',
  )
}
