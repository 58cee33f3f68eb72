/** The response of an electrical sum as if it were one output: in volts, with the noise of all its parts. */
import type { Transfer } from './analysis.js'
import type { SumPart } from './electrical-sum.js'

/** What a part gets before it is added. */
export interface PartSetting {
  readonly delayS: number
  readonly gainDb: number
  readonly isTurned: boolean
}

/** @param settings one for each part; none: as it stands */
export function sumTransfer(parts: readonly SumPart[], settings: readonly PartSetting[] = []): Transfer {
  const { freqHz } = parts[0].transfer
  const [re, im, variance] = [0, 1, 2].map(() => new Float64Array(freqHz.length))
  parts.forEach(({ transfer, gainVrms, leftGain, rightGain }, k) => {
    const { delayS, gainDb, isTurned } = settings[k] ?? { delayS: 0, gainDb: 0, isTurned: false }
    const gain = (isTurned ? -1 : 1) * gainVrms * 10 ** (gainDb / 20)
    for (let i = 0; i < freqHz.length; i++) {
      const a = gain * (leftGain * transfer.leftRe[i] + rightGain * transfer.rightRe[i])
      const b = gain * (leftGain * transfer.leftIm[i] + rightGain * transfer.rightIm[i])
      const turn = -2 * Math.PI * freqHz[i] * delayS
      re[i] += a * Math.cos(turn) - b * Math.sin(turn)
      im[i] += a * Math.sin(turn) + b * Math.cos(turn)
      variance[i] += gain ** 2 * ((leftGain * transfer.leftError[i]) ** 2 + (rightGain * transfer.rightError[i]) ** 2)
    }
  })
  const nothing = new Float64Array(freqHz.length)
  return {
    freqHz,
    leftRe: re,
    leftIm: im,
    rightRe: nothing,
    rightIm: nothing,
    leftError: variance.map(Math.sqrt),
    rightError: nothing,
    centreS: parts[0].transfer.centreS,
  }
}
