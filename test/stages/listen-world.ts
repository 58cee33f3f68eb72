/** A capture that is fed from samples at hand, as fast as it is listened to; and sounds that are no track. */

import type { Bench, CaptureFault } from '../../src/rig/roles.js'
import type { TakeSink } from '../../src/stages/take.js'
import { normalFrom, uniformFrom } from '../kit/random.js'
import { STILL } from '../kit/still.js'

const BLOCK = 4096

export interface Feed {
  readonly bench: Bench
  /** Resolves the run's failed, as a card that is unplugged. */
  unplug(fault: CaptureFault): void
}

/** @param stretches one after the other, all inputs each; after them the capture goes on in silence for ever */
export function feedOf(stretches: readonly (readonly Float32Array[])[], sampleRateHz = 48_000): Feed {
  const inputCount = stretches[0].length
  let unplug = (_: CaptureFault): void => {}
  const bench: Bench = {
    says: 'fed',
    ...STILL,
    isSimulated: false,
    capture: {
      where: 'card',
      start: async (onBlock, signal) => {
        let isStopped = false
        const feed = async (): Promise<void> => {
          for (const channels of stretches) {
            for (let from = 0; from < channels[0].length && !isStopped && !signal.aborted; from += BLOCK) {
              onBlock(channels.map((channel) => channel.subarray(from, from + BLOCK)))
              await new Promise(setImmediate)
            }
          }
          while (!isStopped && !signal.aborted) {
            onBlock(Array.from({ length: inputCount }, () => new Float32Array(BLOCK)))
            await new Promise(setImmediate)
          }
        }
        void feed()
        const failed = new Promise<CaptureFault>((resolve) => {
          unplug = resolve
        })
        return {
          sampleRateHz,
          inputCount,
          failed,
          stop: async () => {
            isStopped = true
            return []
          },
        }
      },
    },
    player: { where: 'by hand', play: async () => {} },
    meter: null,
    connect: async () => {},
    set: async () => {},
    close: async () => {},
  }
  return { bench, unplug: (fault) => unplug(fault) }
}

/** A file that remembers what became of it. */
export function sinkOf(fate: string[]): TakeSink & { readonly frames: () => number } {
  let frames = 0
  return {
    append: (block) => {
      frames += block[0].length
    },
    finish: async () => void fate.push('finished'),
    discard: async () => {
      await new Promise((resolve) => setTimeout(resolve, 20))
      fate.push('discarded')
    },
    frames: () => frames,
  }
}

/**
 * Seeded sounds at a low rate: the marker is looked for at 12 kHz whatever the capture's rate.
 *
 * music: chords with decaying partials and drums on a beat of 0.42 s, which is the marker's own distance, each bar played twice
 * over; speech: voiced pulses through gliding resonances, with pauses; hum: mains series over noise that comes and goes.
 */
export function soundOf(kind: 'music' | 'speech' | 'hum', lengthS: number, rateHz: number, seed: number): Float32Array {
  const out = new Float32Array(Math.round(lengthS * rateHz))
  const uniform = uniformFrom(seed)
  const normal = normalFrom(seed + 1)
  if (kind === 'hum') {
    for (let n = 0; n < out.length; n++) {
      const swell = 0.02 * (1 + Math.sin((2 * Math.PI * 0.13 * n) / rateHz))
      let sum = swell * normal()
      for (let h = 1; h <= 9; h += 2) sum += (0.2 / h) * Math.sin((2 * Math.PI * 50 * h * n) / rateHz)
      out[n] = sum
    }
    return out
  }
  if (kind === 'speech') {
    let [y1, y2, z1, z2] = [0, 0, 0, 0]
    let [pulseAt, pitchHz, formantHz, secondHz, isOn] = [0, 120, 500, 1500, true]
    for (let n = 0; n < out.length; n++) {
      if (n % Math.round(0.11 * rateHz) === 0) {
        pitchHz = 90 + 120 * uniform()
        formantHz = 300 + 500 * uniform()
        secondHz = 900 + 1500 * uniform()
        isOn = uniform() < 0.75
      }
      pulseAt += pitchHz / rateHz
      const pulse = pulseAt >= 1 ? 1 : 0
      if (pulse) pulseAt -= 1
      const x = isOn ? pulse + 0.02 * normal() : 0.001 * normal()
      const r = 0.985
      const y = x + 2 * r * Math.cos((2 * Math.PI * formantHz) / rateHz) * y1 - r * r * y2
      ;[y2, y1] = [y1, y]
      const z = y + 2 * r * Math.cos((2 * Math.PI * secondHz) / rateHz) * z1 - r * r * z2
      ;[z2, z1] = [z1, z]
      out[n] = 0.002 * z
    }
    return out
  }
  const beat = Math.round(0.42 * rateHz)
  let bar: Float32Array | null = null
  for (let at = 0, beats = 0; at < out.length; at += 4 * beat, beats += 4) {
    const isAgain = bar !== null && (beats / 4) % 2 === 1
    const sounds: Float32Array = isAgain ? bar! : newBar(beat, rateHz, uniform, normal)
    bar = sounds
    for (let n = 0; n < sounds.length && at + n < out.length; n++) out[at + n] += sounds[n]
  }
  return out
}

function newBar(beat: number, rateHz: number, uniform: () => number, normal: () => number): Float32Array {
  const bar = new Float32Array(4 * beat)
  // Now and then the same note on every beat, and a rest after it: as near to a marker as music comes.
  const isSame = uniform() < 0.3
  let notes: number[] = []
  for (let k = 0; k < 4; k++) {
    if (k === 0 || !isSame) notes = [0, 4, 7].map((step) => 110 * 2 ** ((Math.floor(24 * uniform()) + step) / 12))
    if (isSame && k >= 2) continue
    for (let n = 0; n < beat; n++) {
      let sum =
        0.25 * Math.exp((-18 * n) / rateHz) * normal() +
        0.5 * Math.sin(300 * Math.exp((-30 * n) / rateHz)) * Math.exp((-12 * n) / rateHz)
      for (const hz of notes) {
        for (let h = 1; h <= 4; h++)
          sum += (0.12 / h) * Math.exp((-3 * n) / rateHz) * Math.sin((2 * Math.PI * hz * h * n) / rateHz)
      }
      bar[k * beat + n] += sum
    }
  }
  return bar
}
