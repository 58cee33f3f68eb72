import { readFileSync } from 'node:fs'
import { describe, expect, test } from 'vitest'
import { parseRig } from '../../src/rig/parse.js'
import { fullScaleAtLead } from '../../src/rig/rig.js'
import { stopOf } from '../document/stop-of.js'

const INPUTS = 'inputs: { count: 2, full_scale_vrms: 4, level_uncertainty_db: 0.1 }'
const rigText = (...lines: string[]): string => ['name: bench', INPUTS, ...lines, ''].join('\n')
const SIMULATED = ['capture: { driver: simulated }', 'player: { driver: simulated }']
const LIVE = ['capture: { driver: pulse }', 'player: { driver: computer }']
const RECORDED = ['capture: { driver: recording }', 'player: { driver: none }']
const parse = (text: string) => parseRig(text, 'rig.yaml')
const messageOf = (...lines: string[]): string => stopOf(() => parse(rigText(...lines))).message

describe('a rig', () => {
  test('of few lines is filled in', () => {
    expect(parse(rigText(...SIMULATED))).toEqual({
      name: 'bench',
      capture: { driver: 'simulated', device: null, sampleRateHz: 48000, bits: 24 },
      player: { driver: 'simulated', device: null },
      meter: null,
      inputs: [
        { fullScaleVrms: 4, padDb: 0, levelUncertaintyDb: 0.1 },
        { fullScaleVrms: 4, padDb: 0, levelUncertaintyDb: 0.1 },
      ],
      patches: null,
      faultsPath: null,
      calibrationPath: null,
    })
  })

  test('with everything in it keeps everything', () => {
    const text = `name: live
capture: { driver: pulse, device: card.in, sample_rate_hz: 96000, bits: 32 }
player: { driver: computer, device: card.out }
meter: { driver: scpi, port: /dev/ttyUSB0, baud_rate: 19200, across_input: 2, accuracy_pct: 1, accuracy_vrms: 0.005 }
inputs:
  - { full_scale_vrms: 2, pad_db: 6, level_uncertainty_db: 0.2 }
  - { full_scale_vrms: 1, level_uncertainty_db: 0.3 }
patches:
  - { name: front, leads: { 2: 1, 1: 7 } }
  - name: rear
    leads:
      1: 3
`
    expect(parse(text)).toEqual({
      name: 'live',
      capture: { driver: 'pulse', device: 'card.in', sampleRateHz: 96000, bits: 32 },
      player: { driver: 'computer', device: 'card.out' },
      meter: {
        driver: 'scpi',
        port: '/dev/ttyUSB0',
        baudRate: 19200,
        inputNumber: 2,
        accuracyPct: 1,
        accuracyVrms: 0.005,
        line: { dataBits: 8, parity: 'none', stopBits: 1, isDtrOn: true, isRtsOn: true },
      },
      inputs: [
        { fullScaleVrms: 2, padDb: 6, levelUncertaintyDb: 0.2 },
        { fullScaleVrms: 1, padDb: 0, levelUncertaintyDb: 0.3 },
      ],
      patches: [
        {
          name: 'front',
          leads: [
            { inputNumber: 1, outputNumber: 7 },
            { inputNumber: 2, outputNumber: 1 },
          ],
        },
        { name: 'rear', leads: [{ inputNumber: 1, outputNumber: 3 }] },
      ],
      faultsPath: null,
      calibrationPath: null,
    })
  })

  test('may name faults for the simulated vehicle', () => {
    expect(parse(rigText(...SIMULATED, 'faults: faults.yaml')).faultsPath).toBe('faults.yaml')
    expect(parse(rigText(...SIMULATED, 'calibration: april.yaml')).calibrationPath).toBe('april.yaml')
  })

  test('may leave the start of the track to a person', () => {
    expect(parse(rigText('capture: { driver: pulse }', 'player: { driver: stick }')).player.driver).toBe('stick')
  })

  test('may name a card itself, or what ffmpeg goes through', () => {
    const card = 'device: "hw:CARD=card,DEV=0"'
    const alsa = parse(rigText(`capture: { driver: alsa, ${card} }`, `player: { driver: alsa, ${card} }`))
    expect(alsa.capture).toEqual({ driver: 'alsa', device: 'hw:CARD=card,DEV=0', sampleRateHz: 48000, bits: 24 })
    expect(alsa.player).toEqual({ driver: 'alsa', device: 'hw:CARD=card,DEV=0' })
    const ffmpeg = parse(
      rigText(
        'capture: { driver: ffmpeg, input_format: dshow, device: Line In }',
        'player: { driver: ffmpeg, output_format: pulse }',
      ),
    )
    expect(ffmpeg.capture.inputFormat).toBe('dshow')
    expect(ffmpeg.player).toEqual({ driver: 'ffmpeg', device: null, outputFormat: 'pulse' })
    const usual = parse(rigText('capture: { driver: ffmpeg }', 'player: { driver: ffmpeg }'))
    expect([usual.capture.inputFormat, usual.player.outputFormat]).toEqual([undefined, undefined])
  })
})

// Closed form: 20 dB is a ratio of 10.
test('full scale at the lead is in front of the pad', () => {
  const text = rigText(...RECORDED).replace('full_scale_vrms: 4', 'full_scale_vrms: 0.4, pad_db: 20')
  expect(fullScaleAtLead(parse(text).inputs[0])).toBeCloseTo(4, 12)
})

describe('what does not fit together is named with its line', () => {
  test.each([
    [
      'a live player with the simulated capture',
      [SIMULATED[0], LIVE[1]],
      'player driver computer does not go with capture driver simulated (rig.yaml:4, player.driver). ' +
        'Allowed with it: simulated.',
    ],
    [
      'the simulated player with a live capture',
      [LIVE[0], SIMULATED[1]],
      'player driver simulated does not go with capture driver pulse (rig.yaml:4, player.driver). ' +
        'Allowed with it: computer, alsa, ffmpeg or stick.',
    ],
    [
      'a live capture without a player',
      [LIVE[0], 'player: { driver: none }'],
      'player driver none does not go with capture driver pulse (rig.yaml:4, player.driver). ' +
        'Write driver: stick where a person starts the track; none is for recordings only.',
    ],
    [
      'a card without its name',
      ['capture: { driver: alsa }', LIVE[1]],
      'capture driver alsa names no device (rig.yaml:3, capture). ' +
        'Add device: hw:CARD=NAME,DEV=0, as linetrue rig devices lists it.',
    ],
    [
      'an input format for another driver',
      ['capture: { driver: pulse, input_format: alsa }', LIVE[1]],
      'input_format does not go with capture driver pulse (rig.yaml:3, capture.input_format). ' +
        'Leave input_format out: it is for driver ffmpeg.',
    ],
    [
      'a player with a recording',
      [RECORDED[0], LIVE[1]],
      'player driver computer does not go with capture driver recording (rig.yaml:4, player.driver). ' +
        'Allowed with it: none.',
    ],
    [
      'a live meter with the simulated capture',
      [...SIMULATED, 'meter: { driver: scpi, port: COM3, accuracy_pct: 1 }'],
      'meter driver scpi does not go with capture driver simulated (rig.yaml:5, meter.driver). ' +
        'Allowed with it: simulated, or no meter.',
    ],
    [
      'the simulated meter with a live capture',
      [...LIVE, 'meter: { driver: simulated, accuracy_pct: 1 }'],
      'meter driver simulated does not go with capture driver pulse (rig.yaml:5, meter.driver). ' +
        'Allowed with it: scpi, lines or frames, or no meter.',
    ],
    [
      'a meter with a recording',
      [...RECORDED, 'meter: { driver: scpi, port: COM3, accuracy_pct: 1 }'],
      'a meter does not go with capture driver recording (rig.yaml:5, meter). Leave meter out.',
    ],
    [
      'a meter on no port',
      [...LIVE, 'meter: { driver: scpi, accuracy_pct: 1 }'],
      'meter driver scpi has no port (rig.yaml:5, meter). Add port: /dev/ttyUSB0 or COM3, as the system names it.',
    ],
    [
      'a port for the simulated meter',
      [...SIMULATED, 'meter: { driver: simulated, accuracy_pct: 1, port: COM3 }'],
      'a simulated meter has no port (rig.yaml:5, meter.port). Leave port out.',
    ],
    [
      'a meter across an input that is not there',
      [...SIMULATED, 'meter: { driver: simulated, accuracy_pct: 1, across_input: 3 }'],
      'meter is across input 3, which is not there (rig.yaml:5, meter.across_input). ' +
        'Allowed: the rig has inputs 1 to 2.',
    ],
    [
      'faults for a real vehicle',
      [...LIVE, 'faults: faults.yaml'],
      'faults do not go with capture driver pulse (rig.yaml:5, faults). ' +
        'Leave faults out: only the simulated vehicle can be given faults.',
    ],
    [
      'a device for a recording',
      ['capture: { driver: recording, device: card }', RECORDED[1]],
      'capture driver recording has no device (rig.yaml:3, capture.device). Leave device out.',
    ],
    [
      'a patch name given twice',
      [...SIMULATED, 'patches:', '  - { name: front, leads: { 1: 1 } }', '  - { name: Front, leads: { 1: 2 } }'],
      'patch name "Front" is given twice (rig.yaml:7, patches[2].name). Give each patch a name of its own.',
    ],
    [
      'a lead to an input that is not there',
      [...SIMULATED, 'patches:', '  - { name: front, leads: { 1: 1, 3: 2 } }'],
      'patch "front" uses input 3, which is not there (rig.yaml:6, patches[1].leads.3). ' +
        'Allowed: the rig has inputs 1 to 2.',
    ],
    [
      'one output in two patches',
      [...SIMULATED, 'patches:', '  - { name: front, leads: { 1: 1 } }', '  - { name: rear, leads: { 2: 1 } }'],
      'output 1 stands twice in the patches, already in "front" (rig.yaml:7, patches[2].leads.2). ' +
        'Give each output one lead.',
    ],
    [
      'one output on two inputs',
      [...SIMULATED, 'patches: [{ name: front, leads: { 1: 5, 2: 5 } }]'],
      'output 5 stands twice in the patches, already in "front" (rig.yaml:5, patches[1].leads.2). ' +
        'Give each output one lead.',
    ],
    [
      'one input with two outputs',
      [...SIMULATED, 'patches: [{ name: front, leads: { 1: 5, 1: 6 } }]'],
      'field "1" stands twice (rig.yaml:5, patches[1].leads.1). Keep one of them; the other is on line 5.',
    ],
    [
      'a patch without leads',
      [...SIMULATED, 'patches: [{ name: front, leads: {} }]'],
      'patch "front" has no leads (rig.yaml:5, patches[1].leads). Add input: output, or take it out.',
    ],
    [
      'a lead from something that is no input',
      [...SIMULATED, 'patches: [{ name: front, leads: { left: 1 } }]'],
      'field "left" is not allowed (rig.yaml:5, patches[1].leads.left). Allowed: the number of an input, 1 to 32.',
    ],
    [
      'an unknown driver',
      ['capture: { driver: tape }', LIVE[1]],
      'driver is "tape" (rig.yaml:3, capture.driver). Allowed: simulated, recording, pulse, alsa or ffmpeg.',
    ],
  ])('%s', (_, lines, message) => {
    expect(messageOf(...lines)).toBe(message)
  })

  test('too many inputs, or none', () => {
    const count = (n: number): string => rigText(...SIMULATED).replace('count: 2', `count: ${n}`)
    expect(parse(count(32)).inputs).toHaveLength(32)
    expect(stopOf(() => parse(count(33))).message).toBe(
      'count is 33, too high (rig.yaml:2, inputs.count). Allowed: a whole number from 1 to 32.',
    )
    expect(stopOf(() => parse(count(0))).message).toMatch(/^count is 0, too low \(rig\.yaml:2, inputs\.count\)/)
  })

  test('inputs without their uncertainty', () => {
    const text = rigText(...SIMULATED).replace(', level_uncertainty_db: 0.1', '')
    expect(stopOf(() => parse(text)).message).toBe(
      'field "level_uncertainty_db" is missing (rig.yaml:2, inputs.level_uncertainty_db). ' +
        'Add it: How far full scale and pad together may be off, either way (dB, k = 2).',
    )
  })
})

test.each([
  ['rigs/simulated.yaml', 'simulated', 12],
  ['rigs/two-inputs-simulated.yaml', 'simulated', 2],
  ['rigs/pulse-loop.yaml', 'pulse', 12],
  ['rigs/recording.yaml', 'recording', 2],
  ['captures/quillon-faulty/rig.yaml', 'simulated', 12],
])('%s is sound: capture %s with %d inputs', (file, driver, inputCount) => {
  const rig = parseRig(readFileSync(file, 'utf8'), file)
  expect(rig.capture.driver).toBe(driver)
  expect(rig.inputs).toHaveLength(inputCount)
})
