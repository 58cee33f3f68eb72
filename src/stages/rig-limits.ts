/**
 * Measures what a rig adds by itself: its floor with the inputs shorted; distortion, response, match and polarity with the
 * player's own output looped back into all inputs; crosstalk with it on one input after the other.
 */
import { setImmediate } from 'node:timers/promises'
import { dbFromRelative } from '../measure/estimate.js'
import { locate } from '../measure/locate.js'
import { readNoise } from '../measure/noise-reading.js'
import { type CrosstalkReading, type LoopReading, readCrosstalk, readLoop } from '../measure/own-limits.js'
import { median } from '../measure/passband.js'
import { clockedHz, readSteadyTone } from '../measure/steady-tone.js'
import { sweepReference } from '../measure/transfer.js'
import type { Calibration, Feed, FloorOfInput, LoopOfInput, Made } from '../rig/calibration.js'
import { fullScaleAtLead, type OwnLoop, type Rig } from '../rig/rig.js'
import type { Bench } from '../rig/roles.js'
import { renderTrack } from '../stimulus/render.js'
import type { Audio } from '../units/audio.js'
import { dbFromRatio } from '../units/level.js'
import { StopError } from '../units/stop.js'
import type { OnProgress } from './progress.js'
import { checkNotClipped, PLAY_RATE_HZ, peakToPlay, probeGains, silenceOf, steadyPart, tonesFor } from './rig-sound.js'
import { takeOnce } from './take.js'

/** Long enough for half a decibel's tenth in the noise, with room at both ends. */
const SILENCE_S = 8
const SILENCE_EDGE_S = 0.6
/** Full scale of what is played comes to this at the loudest input. */
const LOOP_PEAK_FS = 0.9
/** No mains multiples: hum must not pass for a leak. */
const CROSSTALK_HZ = [107, 997, 9973] as const
const CROSSTALK_S = 1.6

export interface LimitsRequest {
  readonly rig: Rig
  readonly feed: Feed
  readonly made: Pick<Made, 'madeAt' | 'program'>
}

type Limits = Required<Pick<Calibration, 'shorted' | 'looped'>>

/** @throws StopError when an input or an instrument doesn't answer as it should */
export async function measureLimits(
  bench: Bench,
  request: LimitsRequest,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<Limits> {
  const { rig, made, feed } = request
  const from: Made = { ...made, capture: { ...rig.capture, says: bench.capture.where } }
  const shorted = await measureFloor(bench, rig, onProgress, signal)
  const all = rig.inputs.map((_, index) => index + 1)

  const track = await renderTrack(PLAY_RATE_HZ)
  const loops = new Map<number, LoopReading>()
  for (const fed of feed === 'each' ? all.map((number) => [number]) : [all]) {
    const detail = detailOf(fed, all)
    await bench.connect({ kind: 'looped', inputNumbers: fed, meterInput: null }, signal)
    const gains = await probeGains(bench, fed, detail, onProgress, signal)
    const audio = await whole(bench, fed, scaled(track, peakToPlay(gains, LOOP_PEAK_FS, 1)), detail, onProgress, signal)
    for (const [number, reading] of await readLoops(audio, fed, onProgress, signal)) loops.set(number, reading)
  }
  const crosstalk = feed === 'all' || all.length === 1 ? null : await measureCrosstalk(bench, all, onProgress, signal)
  return {
    shorted: { ...from, inputs: shorted },
    looped: { ...from, feed, inputs: loopInputs(rig, loops, crosstalk, feed !== 'each') },
  }
}

async function measureFloor(
  bench: Bench,
  rig: Rig,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<FloorOfInput[]> {
  await bench.connect({ kind: 'shorted' }, signal)
  const audio = await whole(bench, [], silenceOf(SILENCE_S), 'inputs shorted', onProgress, signal)
  const edge = Math.round(SILENCE_EDGE_S * audio.sampleRateHz)
  return rig.inputs.map(({ padDb }, index) => {
    const channel = audio.channels[index]
    const noise = readNoise(channel.subarray(edge, channel.length - edge), audio.sampleRateHz, null)
    return {
      inputNumber: index + 1,
      padDb,
      noiseDbfs: dbfs(noise.unweightedFs),
      noiseADbfs: dbfs(noise.aWeightedFs),
      noiseU: dbFromRelative(2 * noise.relativeU),
      humDbfs: dbfs(noise.hum?.rmsFs ?? noise.humFloorFs),
      isHumAtMost: noise.hum === null,
      bandHz: noise.bandHz,
      bandDbfs: noise.bandFs.map(dbfs),
    }
  })
}

/** Digital silence is no level; it is shown as far below all that a converter can do. */
const dbfs = (fs: number): number => dbFromRatio(Math.max(fs, 1e-12))

async function readLoops(
  audio: Audio,
  fed: readonly number[],
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<Map<number, LoopReading>> {
  onProgress({ step: 'measuring', detail: '', doneS: null, totalS: null })
  const { sampleRateHz } = audio
  const channels = fed.map((number) => audio.channels[number - 1])
  const located = locate({ sampleRateHz, channels }, 'loop-back')
  const reference = sweepReference(located)
  const readings = new Map<number, LoopReading>()
  for (const [k, number] of fed.entries()) {
    readings.set(number, readLoop(channels[k], located, reference))
    // Lets a stop in.
    await setImmediate()
    signal.throwIfAborted()
  }
  return readings
}

/** The most that each input gets of a tone that is on another one, by input number. */
async function measureCrosstalk(
  bench: Bench,
  all: readonly number[],
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<Map<number, NonNullable<OwnLoop['crosstalk']>>> {
  const worst = new Map<number, NonNullable<OwnLoop['crosstalk']>>()
  for (const fed of all) {
    const detail = `input ${fed}`
    await bench.connect({ kind: 'looped', inputNumbers: [fed], meterInput: null }, signal)
    const gains = await probeGains(bench, [fed], detail, onProgress, signal)
    const peakFs = peakToPlay(gains, LOOP_PEAK_FS, 1) / CROSSTALK_HZ.length
    const sound = await tonesFor(
      CROSSTALK_S,
      CROSSTALK_HZ.map((freqHz) => ({ freqHz, peakFs })),
    )
    const audio = await whole(bench, [fed], sound, detail, onProgress, signal)
    const loud = audio.channels[fed - 1]
    const steady = steadyPart(loud, audio.sampleRateHz)
    const heard = loud.subarray(...steady)
    // One clock for all tones: the highest tells it best.
    const ratio = clockedHz(heard, CROSSTALK_HZ[2], audio.sampleRateHz) / CROSSTALK_HZ[2]
    const tones = CROSSTALK_HZ.map((freqHz) => readSteadyTone(heard, freqHz * ratio, audio.sampleRateHz))
    for (const number of all.filter((other) => other !== fed)) {
      const quiet = audio.channels[number - 1].subarray(...steady)
      for (const reading of readCrosstalk(quiet, tones, audio.sampleRateHz)) {
        const entry = { fromInput: fed, ...reading, freqHz: Math.round(reading.freqHz) }
        if (isWorse(entry, worst.get(number))) worst.set(number, entry)
      }
    }
    await setImmediate()
    signal.throwIfAborted()
  }
  return worst
}

/** What stands clear of noise counts before what is at most. */
const isWorse = (one: CrosstalkReading, other: CrosstalkReading | undefined): boolean =>
  !other || (one.isAtMost === other.isAtMost ? one.db > other.db : other.isAtMost)

function loopInputs(
  rig: Rig,
  loops: ReadonlyMap<number, LoopReading>,
  crosstalk: ReadonlyMap<number, NonNullable<OwnLoop['crosstalk']>> | null,
  hasOneStart: boolean,
): LoopOfInput[] {
  const voltsDb = ({ tonePeakFs }: LoopReading, number: number): number =>
    dbFromRatio(tonePeakFs * fullScaleAtLead(rig.inputs[number - 1]))
  const middleDb = median([...loops].map(([number, loop]) => voltsDb(loop, number)))
  const delays = [...loops.values()].flatMap(({ delayS }) => (delayS === null ? [] : [delayS]))
  const middleS = hasOneStart && delays.length > 0 ? median(delays) : null
  return [...loops]
    .sort(([a], [b]) => a - b)
    .map(([inputNumber, loop]): LoopOfInput => {
      const isTimed = middleS !== null && loop.delayS !== null
      return {
        inputNumber,
        padDb: rig.inputs[inputNumber - 1].padDb,
        levelDbfs: dbFromRatio(loop.tonePeakFs),
        thd: loop.thd,
        intermodulation: loop.intermodulation,
        response: loop.response,
        responseU: loop.responseU,
        matchDb: voltsDb(loop, inputNumber) - middleDb,
        matchU: dbFromRelative(Math.SQRT2 * loop.toneRelativeU),
        polarity: loop.polarity,
        delayS: isTimed ? loop.delayS! - middleS : null,
        delayU: isTimed && loop.delayU !== null ? Math.SQRT2 * loop.delayU : null,
        crosstalk: crosstalk?.get(inputNumber) ?? null,
      }
    })
}

/** A take that nothing tainted, and in which no fed input reached its end. */
async function whole(
  bench: Bench,
  fed: readonly number[],
  sound: Audio,
  detail: string,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<Audio> {
  const step = 'playing and capturing'
  const { audio, faults } = await takeOnce(bench, sound, null, { step, detail }, onProgress, signal)
  checkNotClipped(bench, audio, fed)
  if (faults.length === 0) return audio
  throw new StopError(
    `the capture is not whole: ${faults[0]}`,
    bench.capture.where,
    'Close what else uses the card or the processor, then give the same command again.',
    'instrument',
  )
}

const scaled = ({ sampleRateHz, channels }: Audio, gain: number): Audio => ({
  sampleRateHz,
  channels: channels.map((channel) => channel.map((sample) => gain * sample)),
})

const detailOf = (fed: readonly number[], all: readonly number[]): string =>
  fed.length === all.length ? 'looped back' : `input ${fed[0]}`
