/** Live levels of a rig's inputs: the capture runs, a quiet tone may play, and somebody looks several times a second. */
import type { Bench, Block, CaptureRun } from '../rig/roles.js'
import { LEAD_PROBE_DBFS } from '../stimulus/lead-probe.js'
import { type Audio, durationS } from '../units/audio.js'
import { ratioFromDb } from '../units/level.js'
import { StopError } from '../units/stop.js'
import { PLAY_RATE_HZ, silenceOf } from './rig-sound.js'
import { pause } from './take.js'

/** As quiet as the probe of a run. */
export const LEVELS_TONE = { freqHz: 997, levelDbfs: LEAD_PROBE_DBFS } as const
/** The tone is played in pieces of this length, with a short gap between. */
const LIVE_PIECE_S = 60
/** The model is asked for pieces of this length. */
const MODEL_PIECE_S = 10
const FADE_S = 0.02
/** A capture that has given nothing for so long has stopped. */
const STALLED_S = 3

export interface LevelsRequest {
  readonly hasTone: boolean
  /** null: until ending. */
  readonly lengthS: number | null
  /** How often to look. */
  readonly everyS: number
}

/**
 * @param onBlock gets every block, in real time for a simulated bench too
 * @param onLook called every everyS, with the time since the start
 * @param ending ends it in good order: sound off, capture closed, no error
 * @throws StopError when capture or player fail; the reason of the signal when it was aborted
 */
export async function watchLevels(
  bench: Bench,
  { hasTone, lengthS, everyS }: LevelsRequest,
  onBlock: (block: Block) => void,
  onLook: (elapsedS: number) => void,
  ending: AbortSignal,
  signal: AbortSignal,
): Promise<void> {
  const over = new AbortController()
  const until = AbortSignal.any([signal, ending, over.signal])
  let lastBlockMs = performance.now()
  let hearFirst = (): void => {}
  const firstBlock = new Promise<void>((resolve) => {
    hearFirst = resolve
  })
  const give = (block: Block): void => {
    lastBlockMs = performance.now()
    if (!until.aborted) onBlock(block)
    hearFirst()
  }
  const model: Block[] = []
  let run: CaptureRun | null = null
  let playing: Promise<never> | null = null
  try {
    run = await bench.capture.start(bench.isSimulated ? (block) => model.push(block) : give, until)
    const { inputCount, failed } = run
    if (bench.isSimulated) playing = runModel(bench, inputCount, hasTone, model, give, until)
    else if (hasTone) playing = repeat(bench, tone(LIVE_PIECE_S), until)
    const broken = failed?.then(({ says }) => Promise.reject(lost(bench, says)))
    const work = [playing, broken].filter((one) => one !== null && one !== undefined)
    // A model takes a moment to make its first piece.
    await Promise.race([firstBlock, aborted(until), ...work])
    const startedMs = performance.now()
    const elapsedS = (): number => (performance.now() - startedMs) / 1000
    const look = async (): Promise<void> => {
      // Looks keep to their grid, however long one of them takes.
      for (let i = 1; lengthS === null || i * everyS <= lengthS + everyS / 2; i++) {
        await pause(Math.max(0, i * everyS - elapsedS()), until)
        if (!bench.isSimulated && performance.now() - lastBlockMs > 1000 * STALLED_S) throw await stalled(bench, run!)
        onLook(elapsedS())
      }
    }
    await Promise.race([look(), ...work])
  } catch (error) {
    signal.throwIfAborted()
    if (!ending.aborted) throw error
  } finally {
    over.abort(new StopError('the levels are not shown any more', bench.capture.where, 'Give the command again.'))
    await playing?.catch(() => {})
    await run?.stop().catch(() => {})
  }
}

/** Rejects with the reason when the signal is aborted. */
const aborted = (signal: AbortSignal): Promise<never> =>
  new Promise((_, reject) => {
    if (signal.aborted) reject(signal.reason)
    signal.addEventListener('abort', () => reject(signal.reason), { once: true })
  })

async function repeat(bench: Bench, sound: Audio, until: AbortSignal): Promise<never> {
  for (;;) await bench.player.play(sound, until)
}

/**
 * A model plays as fast as it can: each piece is let out in real time, while the next one is made. What comes before and
 * after the sound is left out, so that the pieces join.
 */
async function runModel(
  bench: Bench,
  inputCount: number,
  hasTone: boolean,
  made: Block[],
  give: (block: Block) => void,
  until: AbortSignal,
): Promise<never> {
  const inputNumbers = Array.from({ length: inputCount }, (_, index) => index + 1)
  await bench.connect(hasTone ? { kind: 'looped', inputNumbers, meterInput: null } : { kind: 'shorted' }, until)
  const sound = hasTone ? tone(MODEL_PIECE_S) : silenceOf(MODEL_PIECE_S)
  const makePiece = async (): Promise<Block[]> => {
    await bench.player.play(sound, until)
    return made.splice(0)
  }
  let making = makePiece()
  for (;;) {
    const piece = await making
    making = makePiece()
    // Nobody waits for it yet: a stop in the meantime is told by the pause below.
    making.catch(() => {})
    await letOut(piece, sound, give, until)
  }
}

async function letOut(piece: readonly Block[], sound: Audio, give: (block: Block) => void, until: AbortSignal) {
  const totalCount = piece.reduce((sum, block) => sum + block[0].length, 0)
  const soundCount = sound.channels[0].length
  const aroundCount = Math.max(0, totalCount - soundCount)
  let firstFrame = 0
  const startedMs = performance.now()
  for (const block of piece) {
    const from = Math.max(0, aroundCount - firstFrame)
    const to = Math.min(block[0].length, soundCount - firstFrame)
    firstFrame += block[0].length
    if (to <= from) continue
    give(block.map((samples) => samples.subarray(from, to)))
    const dueS = ((firstFrame - aroundCount) / totalCount) * (durationS(sound) * (totalCount / soundCount))
    await pause(Math.max(0, dueS - (performance.now() - startedMs) / 1000), until)
  }
}

async function stalled(bench: Bench, run: CaptureRun): Promise<StopError> {
  const faults = await run.stop().catch(() => [])
  return lost(bench, faults[0]?.says ?? `no samples came for ${STALLED_S} s`)
}

const lost = (bench: Bench, says: string): StopError =>
  new StopError(
    says,
    bench.capture.where,
    'Check that the card is plugged in and no other program holds it, then give the same command again.',
    'instrument',
  )

/** Closed form, both sides alike, with a short rise and fall so that nothing clicks. */
function tone(lengthS: number): Audio {
  const peakFs = ratioFromDb(LEVELS_TONE.levelDbfs)
  const frameCount = lengthS * PLAY_RATE_HZ
  const fadeCount = FADE_S * PLAY_RATE_HZ
  const samples = Float32Array.from({ length: frameCount }, (_, n) => {
    const fade = Math.min(1, (n + 1) / fadeCount, (frameCount - n) / fadeCount)
    return peakFs * fade * Math.sin((2 * Math.PI * LEVELS_TONE.freqHz * n) / PLAY_RATE_HZ)
  })
  return { sampleRateHz: PLAY_RATE_HZ, channels: [samples, samples] }
}
