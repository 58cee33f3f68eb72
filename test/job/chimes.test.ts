import { describe, expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'

const parse = (lines: string) =>
  parseJob(
    `name: small
vehicle: { model: Quillon }
outputs:
  - { number: 1, label: left, left: 1, right: 0, level_vrms: 2 }
  - { number: 2, label: right, left: 0, right: 1, level_vrms: 2 }
${lines}
`,
    'job.yaml',
  )

describe('chimes of a job', () => {
  test('have a usual way to be made to sound, and never one that makes anybody drive', () => {
    const { chimes } = parse(
      'chimes: [{ name: Turn signal, outputs: [1] }, { name: lane warning, outputs: [1, 2], wait_s: 5 }, { name: hoot, outputs: [2], also_allowed: [1], trigger: Press it. }]',
    )
    expect(chimes[0]).toEqual({
      name: 'Turn signal',
      trigger: 'The vehicle stands, parking brake on. Ignition on: switch a turn signal on for some seconds.',
      outputs: [1],
      alsoAllowed: [],
      waitS: 20,
      separationDb: 20,
    })
    expect(chimes[1].trigger).toMatch(/Nobody drives for this\.$/)
    expect(chimes[2]).toMatchObject({ trigger: 'Press it.', alsoAllowed: [1] })
    expect(parse('').chimes).toEqual([])
  })

  test.each([
    ['chimes: [{ name: a, outputs: [3] }]', /no output 3.*Name outputs of the map: 1, 2\./],
    ['chimes: [{ name: a, outputs: [1] }, { name: A, outputs: [2] }]', /name "A" is given twice/],
    ['chimes: [{ name: a, outputs: [1], also_allowed: [1] }]', /output 1 is given twice/],
    ['chimes: [{ name: a, outputs: [] }]', /outputs/],
  ])('are refused: %s', (lines, text) => {
    expect(() => parse(lines)).toThrow(text)
  })
})

describe('the engine of a job', () => {
  test('has limits of its own accord: ripple by ISO 16750-2, severity 1, and the usual charge of a 12 V vehicle', () => {
    expect(parse('').engine).toEqual({
      speedsRpm: ['idle', 2000],
      rippleVppMax: 1,
      chargingVMin: 13.2,
      chargingVMax: 14.8,
    })
  })

  test.each([
    ['engine: { speeds_rpm: [idle, idle] }', /speed idle is given twice/],
    ['engine: { speeds_rpm: [20000] }', /speeds_rpm/],
    ['engine: { charging_v_min: 15 }', /charging_v_min is 15, not below charging_v_max 14\.8/],
  ])('is refused: %s', (lines, text) => {
    expect(() => parse(lines)).toThrow(text)
  })
})
