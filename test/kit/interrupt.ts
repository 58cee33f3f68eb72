/** What can happen to a signal on its way, each with a known place: gaps, repeats, clicks, lost samples, moving processing. */
import { inverseReal, realSpectrum, sizeFor } from '../../src/dsp/fft.js'
import { normalFrom } from './random.js'

export function dropped(samples: Float64Array, at: number, count: number): Float64Array {
  const out = samples.slice()
  out.fill(0, at, at + count)
  return out
}

/** The stretch before a place once more, over what should be there; what comes after is not moved. */
export function repeated(samples: Float64Array, at: number, count: number): Float64Array {
  const out = samples.slice()
  out.set(samples.subarray(at - count, at), at)
  return out
}

export function clicked(samples: Float64Array, at: number, height: number): Float64Array {
  const out = samples.slice()
  out[at] += height
  return out
}

/** Everything from a place on comes later by so many samples (what was there just before comes again), or earlier. */
export function jumped(samples: Float64Array, at: number, late: number): Float64Array {
  const out = samples.slice()
  for (let n = at; n < out.length; n++) out[n] = samples[n - late] ?? 0
  return out
}

/** Read at a delay that swings about 2 ms by a peak of depthS, between samples by a cubic. */
export function delaySwung(samples: Float64Array, sampleRateHz: number, depthS: number, rateHz: number): Float64Array {
  const at = (n: number): number => samples[n] ?? 0
  return samples.map((_, n) => {
    const swing = depthS * Math.sin((2 * Math.PI * rateHz * n) / sampleRateHz + 0.3)
    const place = n - sampleRateHz * (0.002 + swing)
    const i = Math.floor(place)
    const t = place - i
    return (
      (-t * (t - 1) * (t - 2) * at(i - 1)) / 6 +
      ((t + 1) * (t - 1) * (t - 2) * at(i)) / 2 -
      ((t + 1) * t * (t - 2) * at(i + 1)) / 2 +
      ((t + 1) * t * (t - 1) * at(i + 2)) / 6
    )
  })
}

export const levelSwung = (samples: Float64Array, sampleRateHz: number, depth: number, rateHz: number): Float64Array =>
  samples.map((value, n) => value * (1 + depth * Math.sin((2 * Math.PI * rateHz * n) / sampleRateHz)))

/** Eight echoes within 21 ms whose levels wander at random, a new one each 1 / rateHz; mean square 1. */
export function decorrelated(samples: Float64Array, sampleRateHz: number, rateHz: number, seed: number): Float64Array {
  const normal = normalFrom(seed)
  const out = new Float64Array(samples.length)
  const knotCount = Math.ceil((samples.length / sampleRateHz) * rateHz) + 2
  for (let echo = 0; echo < 8; echo++) {
    const delay = Math.round(sampleRateHz * (0.001 + 0.0025 * (echo + 1))) + 7 * echo
    const levels = Array.from({ length: knotCount }, () => normal() / Math.sqrt(8))
    for (let n = delay; n < out.length; n++) {
      const place = (n / sampleRateHz) * rateHz
      const i = Math.floor(place)
      const share = 0.5 - 0.5 * Math.cos(Math.PI * (place - i))
      out[n] += samples[n - delay] * (levels[i] * (1 - share) + levels[i + 1] * share)
    }
  }
  return out
}

/** With an exponentially decaying tail of noise, 60 dB in decayS, of so much energy as the direct sound times level². */
export function reverberant(
  samples: Float64Array,
  sampleRateHz: number,
  decayS: number,
  level: number,
  seed: number,
): Float64Array {
  const normal = normalFrom(seed)
  const tail = Float64Array.from({ length: Math.round(decayS * sampleRateHz) }, (_, i) => {
    return normal() * 10 ** ((-3 * i) / (decayS * sampleRateHz))
  })
  const energy = tail.reduce((sum, value) => sum + value * value, 0)
  const size = sizeFor(samples.length + tail.length)
  const [signal, response] = [samples, tail.map((value) => (level * value) / Math.sqrt(energy))].map((list) =>
    realSpectrum(list, size),
  )
  for (let k = 0; k < signal.length; k += 2) {
    const [a, b, c, d] = [signal[k], signal[k + 1], 1 + response[k], response[k + 1]]
    signal[k] = a * c - b * d
    signal[k + 1] = a * d + b * c
  }
  return inverseReal(signal, size).slice(0, samples.length)
}
