/** Gain formulas by worked examples, and what the reading of amplifier terminals makes of a clipped sine. */
import { describe, expect, test } from 'vitest'
import type { AmplifierSpec } from '../../src/job/gains.js'
import {
  gainTarget,
  inputVrmsAt,
  outputVrmsAt,
  powerW,
  ratedVrms,
  settingOffDb,
} from '../../src/measure/gain-structure.js'
import { cutThd } from '../../src/measure/hard-clip.js'
import { readStaircase } from '../../src/measure/staircase.js'
import { clipped, playTrack } from '../kit/track.js'

const SPEC: AmplifierSpec = {
  name: 'front left',
  outputs: [1],
  ratedW: 75,
  loadOhm: 4,
  sensitivityVrms: { min: 0.2, max: 4 },
  overlapDb: -10,
  isBridged: false,
  isLoaded: false,
}

describe('by hand', () => {
  test('rated power and load give the output volts', () => {
    // √300 = 17.3205, √600 = 24.4949, √(100 × 2) = 14.1421
    expect(ratedVrms({ ratedW: 75, loadOhm: 4 })).toBeCloseTo(17.3205, 4)
    expect(ratedVrms({ ratedW: 300, loadOhm: 2 })).toBeCloseTo(24.4949, 4)
    expect(ratedVrms({ ratedW: 100, loadOhm: 2 })).toBeCloseTo(14.1421, 4)
    expect(powerW(17.3205, 4)).toBeCloseTo(75, 3)
  })

  test('overlap lowers the input volts', () => {
    // 10^(-0.5) = 0.316228, 10^(-0.25) = 0.562341
    expect(inputVrmsAt(2, 0)).toBe(2)
    expect(inputVrmsAt(2, -5)).toBeCloseTo(1.12468, 5)
    expect(inputVrmsAt(2, -10)).toBeCloseTo(0.632456, 6)
  })

  test('half of the sensitivity gives a quarter of the power', () => {
    const vrms = outputVrmsAt(17.3205, 0.5, 1)
    expect(vrms).toBeCloseTo(8.66025, 5)
    expect(powerW(vrms, 4)).toBeCloseTo(18.75, 3)
  })

  test('a target within the range of the gain is set as it is', () => {
    const target = gainTarget(SPEC, 2, { calibration: 0.01 })
    expect(target).toMatchObject({ reach: 'within', padDb: 0 })
    expect(target.setVrms).toBeCloseTo(0.632456, 6)
    expect(target.terminalVrms).toBeCloseTo(17.3205, 4)
    // k = 2: 2 × 0.01 × 0.632456
    expect(target.wantedVrms.u).toBeCloseTo(0.0126491, 7)
  })

  test('too little input leaves power away, too much asks for an attenuator', () => {
    // 0.5 V at -10 dB: 0.158114 V of the 0.2 V that are needed: 17.3205 × 0.790569 = 13.6931 V, 46.875 W.
    const little = gainTarget(SPEC, 0.5)
    expect(little.reach).toBe('too little input')
    expect(little.terminalVrms).toBeCloseTo(13.6931, 4)
    expect(powerW(little.terminalVrms, 4)).toBeCloseTo(46.875, 3)
    // 20 V at -10 dB: 6.32456 V, 3.97940 dB over 4 V.
    const much = gainTarget(SPEC, 20)
    expect(much.reach).toBe('too much input')
    expect(much.padDb).toBeCloseTo(3.9794, 4)
  })

  test('a reading is held against the target in decibels, with what the meter may be off by', () => {
    // 20 lg (18 / 17.3205) = 0.33425 dB; 0.5 % and 2 mV of 18 V: 0.092 V rectangular, 0.0531 V, 0.02563 dB, k = 2.
    const off = settingOffDb(18, 17.3205, 0.092, 997)
    expect(off.value).toBeCloseTo(0.33425, 4)
    expect(off.u).toBeCloseTo(0.05126, 4)
  })
})

test('distortion of clipped terminals is that of a clipped sine in closed form', () => {
  // Clipped at half of full scale: at 0 dBFS r = 0.5. Orders 2 to 9, as the staircase reads them.
  const played = playTrack({ leadInS: 0.5, tailS: 0.5 })
  const wire = Float32Array.from(clipped(played.left, 0.5))
  const located = {
    startSample: played.startSample,
    samplesPerS: played.samplesPerS,
    clockOffsetPpm: 0,
    clockOffsetPpmU: 0,
    revision: 1,
    match: 1,
  }
  const reading = readStaircase(wire, located, 997, { thdLimitRatio: 0.01 })!
  const top = reading.steps.at(-1)!
  // Truth: Fourier series of the cut (closed form). Tolerance: what folds at 48 kHz, orders above 24 of 997 Hz: under 1 % of it.
  expect(Math.abs(top.thd.value / cutThd(0.5, 'both sides', 9) - 1)).toBeLessThan(0.01)
  expect(reading.kind).toBe('hard clipping')
  // 1 % is passed a little above the cut at -6.02 dBFS.
  expect(reading.onset!.sourceDbfs).toBeGreaterThan(-6.02)
  expect(reading.onset!.sourceDbfs).toBeLessThan(-5.7)
})
