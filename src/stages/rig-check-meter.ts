/** The meter in a rig check: who it is, what it reads, and whether the capture reads the same on the same lead. */
import { fullScaleAtLead, type MeterSpec, type Rig } from '../rig/rig.js'
import type { Bench, Meter } from '../rig/roles.js'
import { dbFromRatio, ratioFromDb } from '../units/level.js'
import { StopError } from '../units/stop.js'
import type { OnProgress } from './progress.js'
import { type InputState, PROBE_DBFS } from './rig-check-read.js'
import { toneOf, tonesFor } from './rig-sound.js'
import { pause, takeOnce } from './take.js'

/** A live meter needs a moment to settle and a few readings to agree. */
const TONE_S = { simulated: 1.2, live: 6 } as const
const SETTLE_S = 1.5
/** One of these sounds in every output's band. */
const FREQS_HZ = [997, 6300, 75] as const

export interface MeterState {
  readonly inputNumber: number
  /** As it says of itself; null where it doesn't answer. */
  readonly says: string | null
  /** What it reads on the quiet tone; null where it gives no reading, or no tone of ours is there. */
  readonly readVrms: number | null
  /** What the capture reads of the same tone on the same lead. */
  readonly captureVrms: number | null
  readonly freqHz: number | null
  /** How far both may be apart at this level by the meter's data sheet and the rig file, dB. */
  readonly apartDbMax: number | null
  readonly trouble: { readonly says: string; readonly remedy: string } | null
}

export async function readMeter(
  bench: Bench,
  spec: MeterSpec,
  inputs: readonly InputState[],
  rig: Rig,
  isByHand: boolean,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<MeterState> {
  const meter = bench.meter!
  const { inputNumber } = spec
  const state: MeterState = {
    inputNumber,
    says: null,
    readVrms: null,
    captureVrms: null,
    freqHz: null,
    apartDbMax: null,
    trouble: null,
  }
  onProgress({ step: 'asking the meter', detail: '', doneS: null, totalS: null })
  let says: string
  try {
    says = await meter.identify(signal)
  } catch (error) {
    return { ...state, trouble: troubleOf(error, signal) }
  }
  const freqHz = isByHand ? null : freqFor(inputs[inputNumber - 1])
  if (freqHz === null) {
    // Whatever it reads now shows that it is on AC volts; there is nothing to hold it against.
    try {
      const reading = await meter.readOnce('acVolts', signal)
      return { ...state, says, readVrms: reading.value }
    } catch (error) {
      return { ...state, says, trouble: troubleOf(error, signal) }
    }
  }
  const { readVrms, peakFs, trouble } = await readTogether(bench, meter, freqHz, inputNumber, onProgress, signal)
  if (readVrms === null) return { ...state, says, trouble }
  const input = rig.inputs[inputNumber - 1]
  const captureVrms = peakFs * fullScaleAtLead(input)
  const meterU = (spec.accuracyPct / 100) * readVrms + spec.accuracyVrms
  const apartDbMax = dbFromRatio(1 + meterU / Math.max(readVrms, 1e-9)) + input.levelUncertaintyDb
  return { ...state, says, readVrms, captureVrms, freqHz, apartDbMax }
}

/** The tone of the probe that this input heard best; null where it heard none. */
function freqFor({ left, right, isHeard }: InputState): number | null {
  if (!isHeard) return null
  const inMiddle = [left[0], right[0]].some((tone) => tone?.isHeard)
  const inHighs = [left[2], right[2]].some((tone) => tone?.isHeard)
  return inMiddle ? FREQS_HZ[0] : inHighs ? FREQS_HZ[1] : FREQS_HZ[2]
}

type Together =
  | { readonly readVrms: number; readonly peakFs: number; readonly trouble: null }
  | { readonly readVrms: null; readonly peakFs: null; readonly trouble: MeterState['trouble'] }

async function readTogether(
  bench: Bench,
  meter: Meter,
  freqHz: number,
  inputNumber: number,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<Together> {
  const lengthS = TONE_S[bench.isSimulated ? 'simulated' : 'live']
  const sound = await tonesFor(lengthS, [{ freqHz, peakFs: ratioFromDb(PROBE_DBFS) }])
  const failing = new AbortController()
  const until = AbortSignal.any([signal, failing.signal])
  const says = { step: 'quiet tone for the meter', detail: `input ${inputNumber}` }
  let failed: 'take' | 'meter' | null = null
  const orEnd =
    (which: 'take' | 'meter') =>
    (error: unknown): never => {
      failed ??= which
      failing.abort(error)
      throw error
    }
  const taking = takeOnce(bench, sound, null, says, onProgress, until).catch(orEnd('take'))
  // The model plays at once and its meter remembers; a real one has to be read while the tone sounds.
  const begun = bench.isSimulated ? taking : pause(SETTLE_S, until)
  const reading = begun.then(() => meter.readAcVrms(until)).catch(orEnd('meter'))
  const [take, read] = await Promise.allSettled([taking, reading])
  // A card or a player that fails is not the meter's trouble.
  if (take.status === 'rejected' && failed === 'take') throw take.reason
  if (read.status === 'rejected') return { readVrms: null, peakFs: null, trouble: troubleOf(read.reason, signal) }
  if (take.status === 'rejected') throw take.reason
  const { channels, sampleRateHz } = take.value.audio
  const { tone } = toneOf(channels[inputNumber - 1], freqHz, sampleRateHz)
  return { readVrms: read.value, peakFs: tone.peakFs, trouble: null }
}

/** What a person can mend at the meter; anything else goes on up. */
function troubleOf(error: unknown, signal: AbortSignal): MeterState['trouble'] {
  signal.throwIfAborted()
  if (error instanceof StopError) return { says: `${error.what} (${error.where})`, remedy: error.remedy }
  throw error
}
