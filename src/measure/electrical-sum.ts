/**
 * Electrical sum of outputs that share one speaker's or one side's band: what a summing input would make of them, and the
 * delay, gain and polarity of each that make the sum flattest.
 *
 * All in volts for 0 dBFS on the source sides as weighted. Flat means: the rms deviation in dB from the mean level, each octave
 * of the sum's band counted alike. Delays between outputs are known only within one patch; who calls sees to that.
 */

import { DB_PER_NEPER } from '../units/level.js'
import type { Transfer } from './analysis.js'
import { GRID_HZ } from './grid.js'
import { weighted } from './heard.js'
import { aligned, alignedU } from './sum-align.js'
import { bandOf, byDistance, isApart, plateauOf } from './sum-bands.js'
import { flattened, settingsU } from './sum-fit.js'
import { bestStart } from './sum-search.js'
import { AS_IT_STANDS, meanOf, type Part, type Setting, type Sum, sumAt } from './summed.js'

export const ELECTRICAL_SUM_METHOD = 'electrical sum, rms dB from flat/1'

export interface SumPart {
  readonly outputNumber: number
  readonly transfer: Transfer
  /** Volts rms for 1 in the capture. */
  readonly gainVrms: number
  /** Shares of the source sides: 1 and 0 for what comes of the left one. */
  readonly leftGain: number
  readonly rightGain: number
}

export interface Flatness {
  /** Largest deviation from the mean level over the band, with its sign, and where. */
  readonly worstDb: number
  readonly worstHz: number
  readonly rmsDb: number
}

export interface SumSetting {
  readonly outputNumber: number
  /**
   * Delay to add against the first output, and its standard uncertainty; negative: delay the others by as much. Null where
   * the outputs do not overlap, so that no delay changes the sum.
   */
  readonly extraDelayS: number | null
  readonly extraDelayU: number
  /** Gain to add, dB, and its standard uncertainty. */
  readonly gainDb: number
  readonly gainU: number
  readonly isTurned: boolean
  /** The sum as it stands but for this output's polarity. */
  readonly turnedAlone: Flatness
  /** How flat another delay or polarity would get it at best; the setting is clear where this is well above. */
  readonly rivalRmsDb: number | null
}

export interface ElectricalSum {
  /** Where the sum is looked at: given, or from the lowest to the highest corner of its parts (1 dB under their own level). */
  readonly lowHz: number
  readonly highHz: number
  readonly freqHz: readonly number[]
  /** dBV: as it stands, and with the settings. */
  readonly levelDbv: readonly number[]
  readonly flattestDbv: readonly number[]
  readonly asItStands: Flatness
  readonly flattest: Flatness
  /** The flattest setting found has the parts in phase where they are heard together. */
  readonly isInPhase: boolean
  /** One for each output after the first. */
  readonly settings: readonly SumSetting[]
}

/** Flat alike: a setting in phase is taken if it is no worse than this, and what noise adds. */
const ALIKE_DB = 0.01
/** What the cut of the responses, and distortion of the parts, leave on a gain (dB): tried at 100 dB of signal over noise. */
const LEAST_GAIN_DB = 0.00005

/**
 * @param parts the first one stays as it is, the others are set against it
 * @param bandHz where the sum is to be flat, if not where the parts are
 * @param reachS how far a delay is looked for to both sides
 * @throws RangeError for fewer than two parts, or a band under a quarter octave
 */
export function electricalSum(
  parts: readonly SumPart[],
  { bandHz = null, reachS = 0.003 }: { bandHz?: readonly [number, number] | null; reachS?: number } = {},
): ElectricalSum {
  if (parts.length < 2) throw new RangeError(`electricalSum: ${parts.length} parts, want two or more`)
  const voltages = parts.map((part) => voltageOf(part, parts[0].transfer.centreS))
  const plateaus = voltages.map(plateauOf)
  const within = (some: readonly number[]): number[] =>
    bandOf(
      some.map((k) => plateaus[k]),
      bandHz,
    )
  const indices = within(parts.map((_, k) => k))
  if (indices.length < 12) throw new RangeError(`electricalSum: ${indices.length} grid points, want a quarter octave`)

  const starts: Setting[] = parts.map(() => AS_IT_STANDS)
  const rivals: (number | null)[] = parts.map(() => null)
  const order = [0]
  for (const k of byDistance(plateaus)) {
    const gainDb = plateaus[0].levelDb - plateaus[k].levelDb
    if (isApart(voltages, plateaus, order, k)) {
      starts[k] = { ...AS_IT_STANDS, gainDb, isDelayFree: false, isGainFree: false }
    } else {
      // Set where it and those before it are heard; what is still to come is no gap in the sum.
      const band = within([...order, k])
      const base = sumAt(
        order.map((m) => voltages[m]),
        order.map((m) => starts[m]),
        band,
      )
      const { setting, rivalRmsDb } = bestStart(base, voltages[k], band, gainDb, reachS)
      starts[k] = setting
      rivals[k] = rivalRmsDb
    }
    order.push(k)
  }
  const { settings, isInPhase, delayU, gainU } = flattest(voltages, starts, order, indices)
  const before = sumAt(
    voltages,
    parts.map(() => AS_IT_STANDS),
    indices,
  )
  const after = sumAt(voltages, settings, indices)
  return {
    lowHz: GRID_HZ[indices[0]],
    highHz: GRID_HZ[indices.at(-1)!],
    freqHz: indices.map((i) => GRID_HZ[i]),
    levelDbv: [...before.levelDb],
    flattestDbv: [...after.levelDb],
    asItStands: flatnessOf(before, indices),
    flattest: flatnessOf(after, indices),
    isInPhase,
    settings: parts.slice(1).map(({ outputNumber }, n) => {
      const k = n + 1
      const turned = parts.map((_, m): Setting => ({ ...AS_IT_STANDS, sign: m === k ? -1 : 1 }))
      return {
        outputNumber,
        extraDelayS: starts[k].isDelayFree ? settings[k].delayS : null,
        extraDelayU: delayU[k],
        gainDb: settings[k].gainDb,
        gainU: Math.hypot(
          LEAST_GAIN_DB,
          starts[k].isGainFree ? gainU[k] : Math.hypot(plateaus[0].levelU, plateaus[k].levelU),
        ),
        isTurned: settings[k].sign < 0,
        turnedAlone: flatnessOf(sumAt(voltages, turned, indices), indices),
        rivalRmsDb: rivals[k],
      }
    }),
  }
}

interface Found {
  readonly settings: readonly Setting[]
  readonly isInPhase: boolean
  readonly delayU: readonly number[]
  readonly gainU: readonly number[]
}

/** All parts set together: in phase if that is as flat as anything, else as flat as can be. */
function flattest(
  parts: readonly Part[],
  starts: readonly Setting[],
  order: readonly number[],
  indices: readonly number[],
): Found {
  const free = flattened(parts, starts, indices)
  let inPhase: readonly Setting[] = starts
  for (let pass = 0; pass < 2; pass++) {
    const delays = [...inPhase]
    for (const [place, k] of order.entries()) {
      if (place === 0 || !starts[k].isDelayFree) continue
      const before = order.slice(0, place)
      const base = sumAt(
        before.map((m) => parts[m]),
        before.map((m) => delays[m]),
        indices,
      )
      delays[k] = aligned(base, parts[k], delays[k], indices)
    }
    inPhase = flattened(
      parts,
      delays.map((setting) => ({ ...setting, isDelayFree: false })),
      indices,
    )
  }
  const [flat, alike] = [free, inPhase].map((settings) => sumAt(parts, settings, indices))
  const isInPhase = alike.rmsDb <= Math.sqrt(flat.rmsDb ** 2 + noiseVariance(parts, alike, indices)) + ALIKE_DB
  const errors = settingsU(parts, isInPhase ? inPhase : free, indices)
  const timed = inPhase.map((setting, k) => ({ ...setting, isDelayFree: starts[k].isDelayFree }))
  return {
    settings: isInPhase ? inPhase : free,
    isInPhase,
    delayU: isInPhase ? alignedU(parts, timed, order, indices) : errors.map(({ delayU }) => delayU),
    gainU: errors.map(({ gainU }) => gainU),
  }
}

/** What a free delay may gain in mean square by fitting noise, nearly always: neighbours alike by 4, three deviations. */
function noiseVariance(parts: readonly Part[], { rotors, power }: Sum, indices: readonly number[]): number {
  let variance = 0
  parts.forEach(({ error }, k) => {
    indices.forEach((i, n) => {
      variance += ((rotors[k].re[n] ** 2 + rotors[k].im[n] ** 2) * error[i] ** 2) / power[n]
    })
  })
  return (9 * 4 * 0.5 * DB_PER_NEPER * DB_PER_NEPER * variance) / indices.length ** 2
}

function voltageOf({ transfer, gainVrms, leftGain, rightGain }: SumPart, firstCentreS: number): Part {
  const heard = weighted(transfer, leftGain * gainVrms, rightGain * gainVrms)
  const power = heard.re.map((re, i) => re * re + heard.im[i] ** 2)
  return { ...heard, power, laterS: heard.centreS - firstCentreS }
}

function flatnessOf({ levelDb, rmsDb }: Sum, indices: readonly number[]): Flatness {
  const mean = meanOf(levelDb)
  let worst = 0
  for (let n = 1; n < levelDb.length; n++) {
    if (Math.abs(levelDb[n] - mean) > Math.abs(levelDb[worst] - mean)) worst = n
  }
  return { worstDb: levelDb[worst] - mean, worstHz: GRID_HZ[indices[worst]], rmsDb }
}
