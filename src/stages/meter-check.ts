/** The meter's word on the capture's volts: one steady tone, read by both on the same lead. */
import type { Job } from '../job/job.js'
import { dbFromRelative, estimate } from '../measure/estimate.js'
import { calibrationBudget } from '../measure/rig-reach.js'
import { readSteadyTone } from '../measure/steady-tone.js'
import { fullScaleAtLead, meterLimitVrms, type PatchSpec, type Rig } from '../rig/rig.js'
import type { Bench } from '../rig/roles.js'
import { TONE_HZ } from '../stimulus/layout.js'
import { renderTones } from '../stimulus/render.js'
import type { Audio } from '../units/audio.js'
import { dbFromRatio, ratioFromDb } from '../units/level.js'
import { StopError } from '../units/stop.js'
import { inDb, inHz, inVolts } from '../units/words.js'
import { figureOf, held } from '../verdict/decision.js'
import type { Check, Finding } from '../verdict/parts.js'
import type { OnProgress } from './progress.js'
import { pause, takeOnce } from './take.js'

const TONE_DBFS = -10
/** A live meter needs a moment to settle and a few readings to agree. */
const TONES_S = [6, 12, 24] as const
const SIMULATED_TONE_S = 2
const SETTLE_S = 1.5

export interface MeterWord {
  readonly says: string
  readonly check: Check
  readonly findings: readonly Finding[]
}

/** @throws StopError when the meter doesn't answer as it should */
export async function checkAgainstMeter(
  bench: Bench,
  job: Job,
  rig: Rig,
  patch: PatchSpec,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<MeterWord | null> {
  const spec = rig.meter
  const lead = patch.leads.find(({ inputNumber }) => inputNumber === spec?.inputNumber)
  if (!bench.meter || !spec || !lead) return null
  const output = job.outputs.find(({ number }) => number === lead.outputNumber)!
  const freqHz = [...TONE_HZ].sort(
    (a, b) => Math.abs(Math.log(a / output.referenceHz)) - Math.abs(Math.log(b / output.referenceHz)),
  )[0]
  const says = await bench.meter.identify(signal)
  const step = { step: 'tone for the meter', detail: `input ${spec.inputNumber}` }
  const { audio, meterVrms } = await whileItSounds(bench, job, freqHz, step, onProgress, signal)

  const channel = audio.channels[spec.inputNumber - 1]
  const input = rig.inputs[spec.inputNumber - 1]
  const peakFs = loudestTonePeak(channel, freqHz, audio.sampleRateHz)
  const captureVrms = peakFs * fullScaleAtLead(input)
  const differenceDb = dbFromRatio(captureVrms / Math.max(meterVrms, 1e-9))
  const meterU = meterLimitVrms(spec, meterVrms)
  const agreement = estimate(
    differenceDb,
    {
      // The data sheet's limits taken as rectangular: GUM 4.3.7.
      'meter specification': dbFromRelative(meterU / Math.sqrt(3) / Math.max(meterVrms, 1e-9)),
      ...calibrationBudget(input),
    },
    'steady tone, meter and capture on one lead/1',
    { freqHz },
  )
  const { u } = agreement
  const max = job.limits.meterAgreementDbMax
  const verdict = held(differenceDb, u, { min: -max, max })
  const check: Check = {
    name: 'meter agreement',
    // A meter that disagrees puts the rig in doubt; it doesn't condemn the vehicle.
    verdict: verdict === 'pass' ? 'pass' : 'unsure',
    figure: figureOf('capture against meter', 'dB', agreement),
    expected: `within ± ${max} dB at ${inHz(freqHz)}`,
    measured: `capture ${inVolts(captureVrms)}, meter ${inVolts(meterVrms)} (${inDb(differenceDb)})`,
    why:
      verdict === 'pass'
        ? ''
        : verdict === 'fail'
          ? 'Capture and meter disagree on the same lead.'
          : 'The limit lies within the uncertainty of meter and capture.',
  }
  const findings: Finding[] =
    verdict === 'pass'
      ? []
      : [
          {
            kind: 'rig',
            verdict: 'unsure',
            outputs: [],
            title: `Meter and capture ${verdict === 'fail' ? 'disagree' : 'cannot be said to agree'}: ${inDb(differenceDb)} on input ${spec.inputNumber}`,
            because: `${check.measured}; uncertainty ± ${u.toFixed(2)} dB, limit ± ${max} dB.`,
            next: `Check full scale and pad of input ${spec.inputNumber} in the rig file, and that the meter is on AC volts and specified at ${inHz(freqHz)}.`,
          },
        ]
  return { says, check, findings }
}

/**
 * The tone, captured and read by the meter while it sounds. A meter that is slow, or was plugged in again meanwhile, gets a
 * tone twice as long, and once more.
 */
export async function whileItSounds(
  bench: Bench,
  job: Job,
  freqHz: number,
  step: { step: string; detail: string },
  onProgress: OnProgress,
  signal: AbortSignal,
  levelDbfs = TONE_DBFS,
): Promise<{ audio: Audio; meterVrms: number }> {
  const meter = bench.meter!
  for (const lengthS of bench.isSimulated ? [SIMULATED_TONE_S] : TONES_S) {
    const tone = await renderTones(job.track.sampleRateHz, lengthS + 0.2, [
      { startS: 0.1, durationS: lengthS, tones: [{ freqHz, peakFs: ratioFromDb(levelDbfs) }] },
    ])
    const taking = takeOnce(bench, tone, null, step, onProgress, signal)
    // The model plays at once and its meter remembers; a real one has to be read while the tone sounds.
    if (bench.isSimulated) {
      const { audio } = await taking
      return { audio, meterVrms: await meter.readAcVrms(signal) }
    }
    const sounding = AbortSignal.any([signal, AbortSignal.timeout(1000 * lengthS)])
    const reading = pause(SETTLE_S, signal)
      .then(() => meter.readAcVrms(sounding))
      .catch((error: unknown) => {
        if (sounding.aborted && !signal.aborted) return null
        throw error
      })
    const [{ audio }, meterVrms] = await Promise.all([taking, reading])
    if (meterVrms !== null) return { audio, meterVrms }
  }
  throw new StopError(
    `the meter had no settled reading within ${TONES_S.at(-1)} s of tone`,
    meter.where,
    'Check that its leads sit firmly, choose a fixed range, then give the same command again.',
    'instrument',
  )
}

/** Level of the tone where it is steady: the middle half of where it sounds. */
function loudestTonePeak(channel: Float32Array, freqHz: number, sampleRateHz: number): number {
  let peak = 0
  for (let n = 0; n < channel.length; n++) peak = Math.max(peak, Math.abs(channel[n]))
  const isLoud = (sample: number): boolean => Math.abs(sample) > 0.5 * peak
  const first = channel.findIndex(isLoud)
  const last = channel.findLastIndex(isLoud)
  const quarter = Math.floor((last - first) / 4)
  // The clocks of player and capture differ by an amount that only the track would tell.
  const steady = channel.subarray(first + quarter, last - quarter)
  return readSteadyTone(steady, freqHz, sampleRateHz).peakFs
}
