import { describe, expect, test } from 'vitest'
import type { LineLink } from '../../src/instruments/line-link.js'
import { ScpiMeter } from '../../src/instruments/scpi-meter.js'

const never = new AbortController().signal

/** Questions and answers in order, as in a session at a meter; null is silence. A line left over fails the test. */
function scripted(...lines: (readonly [string, string | null])[]): { link: LineLink; left: () => number } {
  const rest = [...lines]
  return {
    left: () => rest.length,
    link: {
      where: 'PORT',
      ask: async (line) => {
        const next = rest.shift()
        expect(line).toBe(next?.[0])
        return next![1]
      },
      close: async () => {},
    },
  }
}
const READ = 'MEAS:VOLT:AC?'
const ACCURACY = { accuracyPct: 0.5, accuracyVrms: 0.002 }

describe('numbers of IEEE 488.2', () => {
  // Truth: IEEE 488.2 and SCPI-1999 (from memory): NR1, NR2 and NR3 with optional sign and leading zeros.
  test.each([
    ['+12', 12],
    ['012', 12],
    ['12.50', 12.5],
    ['+1.250E+01', 12.5],
    ['1.25e1', 12.5],
    ['.5', 0.5],
    ['12.', 12],
    ['0', 0],
    ['-0.0001', -0.0001],
  ])('as in %s are read', async (answer, volts) => {
    const { link, left } = scripted([READ, answer], [READ, answer], [READ, answer])
    expect(await new ScpiMeter(link, ACCURACY).readAcVrms(never)).toBeCloseTo(volts, 12)
    expect(left()).toBe(0)
  })

  test.each(['', '1,5', '1.2.3', 'E5', '0x10', 'Infinity', 'NaN', '1 V', '--1'])(
    'as in "%s" are refused',
    async (answer) => {
      const { link } = scripted([READ, answer], ['SYST:ERR?', '0,"No error"'])
      await expect(new ScpiMeter(link, ACCURACY).readAcVrms(never)).rejects.toThrow(/^the meter answered /)
    },
  )
})

describe('values that stand for no reading', () => {
  // Truth: IEEE 488.2 and SCPI-1999 (from memory): 9.91E37 is not-a-number, ±9.9E37 is overload; not-a-number is the larger.
  test.each([
    ['9.9E37', 'the meter shows overload'],
    ['-9.90000000E+37', 'the meter shows overload'],
    ['9.91E37', 'the meter has no reading'],
    ['+9.910000E+37', 'the meter has no reading'],
  ])('as %s each have their line', async (answer, says) => {
    const { link } = scripted([READ, answer])
    await expect(new ScpiMeter(link, ACCURACY).readAcVrms(never)).rejects.toThrow(says)
  })

  test('lie above every reading: the largest one below is a number', async () => {
    const { link } = scripted([READ, '9.8E37'], [READ, '9.8E37'], [READ, '9.8E37'])
    expect(await new ScpiMeter(link, ACCURACY).readAcVrms(never)).toBeCloseTo(9.8e37, -30)
  })
})

describe('settling', () => {
  // Truth: closed form. Half the accuracy at 2 V is (0.01 + 0.002) / 2 = 6 mV.
  test('takes a spread of half the accuracy and refuses a little more', async () => {
    const good = scripted([READ, '2.000'], [READ, '2.003'], [READ, '2.0059'])
    expect(await new ScpiMeter(good.link, ACCURACY).readAcVrms(never)).toBeCloseTo(2.00296667, 6)
    const slow = scripted([READ, '2.000'], [READ, '2.003'], [READ, '2.0061'], [READ, '2.003'])
    await new ScpiMeter(slow.link, ACCURACY).readAcVrms(never)
    expect(slow.left()).toBe(0)
  })
})
