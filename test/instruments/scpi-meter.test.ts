import { describe, expect, test } from 'vitest'
import { ScpiMeter } from '../../src/instruments/scpi-meter.js'
import type { MeterQuantity } from '../../src/rig/roles.js'
import { type Step, scripted } from './scripted-link.js'

const never = new AbortController().signal
const NO_ERROR: Step = ['SYST:ERR?', '+0,"No error"']
const SET_UP: Step[] = [NO_ERROR, ['CONF:VOLT:AC'], NO_ERROR]

const volts = (...steps: Step[]): Promise<number> => {
  const { link } = scripted(...steps)
  return new ScpiMeter(link, 0.002).readOnce('acVolts', never).then(({ value }) => value)
}

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
  ])('as in %s are read', async (answer, value) => {
    expect(await volts(...SET_UP, ['READ?', answer], NO_ERROR)).toBeCloseTo(value, 12)
  })

  test.each(['', '1,5', '1.2.3', 'E5', '0x10', 'Infinity', 'NaN', '1 V', '--1'])(
    'as in "%s" are refused',
    async (answer) => {
      await expect(volts(...SET_UP, ['READ?', answer], NO_ERROR)).rejects.toThrow(/^the meter answered /)
    },
  )

  // Closed form: the last digit of +1.250E+01 is 0.001 times ten.
  test('tell the resolution by their last digit', async () => {
    const { link } = scripted(...SET_UP, ['READ?', '+1.250E+01'], NO_ERROR)
    expect((await new ScpiMeter(link, 0).readOnce('acVolts', never)).resolution).toBeCloseTo(0.01, 12)
  })
})

describe('values that stand for no reading', () => {
  // Truth: IEEE 488.2 and SCPI-1999 (from memory): 9.91E37 is not-a-number, ±9.9E37 is overload; not-a-number is the larger.
  test.each([
    ['9.9E37', 'the meter shows overload'],
    ['-9.90000000E+37', 'the meter shows overload'],
    ['9.91E37', 'the meter has no reading'],
    ['+9.910000E+37', 'the meter has no reading'],
  ])('as %s each have their line', async (answer, says) => {
    await expect(volts(...SET_UP, ['READ?', answer])).rejects.toThrow(says)
  })

  test('lie above every reading: the largest one below is a number', async () => {
    expect(await volts(...SET_UP, ['READ?', '9.8E37'], NO_ERROR)).toBeCloseTo(9.8e37, -30)
  })
})

describe('setting up', () => {
  // Truth: SCPI-1999, vol. 2 (from memory): the headers of each function.
  test.each<[MeterQuantity, string]>([
    ['acVolts', 'CONF:VOLT:AC'],
    ['dcVolts', 'CONF:VOLT:DC'],
    ['ohms', 'CONF:RES'],
    ['dcAmps', 'CONF:CURR:DC'],
  ])('for %s is done once, after the old errors are gone', async (quantity, configure) => {
    const { link, left } = scripted(
      ['SYST:ERR?', '-410,"Query INTERRUPTED"'],
      NO_ERROR,
      [configure],
      NO_ERROR,
      ['READ?', '1'],
      NO_ERROR,
      ['READ?', '2'],
      NO_ERROR,
    )
    const meter = new ScpiMeter(link, 0)
    expect((await meter.readOnce(quantity, never)).value).toBe(1)
    expect((await meter.readOnce(quantity, never)).value).toBe(2)
    expect(left()).toBe(0)
  })

  test('is done again for another quantity, where a sign is allowed', async () => {
    const { link, left } = scripted(
      ...SET_UP,
      ['READ?', '1'],
      NO_ERROR,
      NO_ERROR,
      ['CONF:VOLT:DC'],
      NO_ERROR,
      ['READ?', '-12.6'],
      NO_ERROR,
    )
    const meter = new ScpiMeter(link, 0)
    await meter.readOnce('acVolts', never)
    expect((await meter.readOnce('dcVolts', never)).value).toBe(-12.6)
    expect(left()).toBe(0)
  })

  test('is done again where the knob may have been turned', async () => {
    const { link, left } = scripted(...SET_UP, ['READ?', '1'], NO_ERROR, ...SET_UP, ['READ?', '2'], NO_ERROR)
    const meter = new ScpiMeter(link, 0)
    await meter.readOnce('acVolts', never)
    meter.beginAnew()
    expect((await meter.readOnce('acVolts', never)).value).toBe(2)
    expect(left()).toBe(0)
  })

  test('falls back to MEAS where the meter knows no CONF', async () => {
    const undefinedHeader: Step = ['SYST:ERR?', '-113,"Undefined header"']
    const steps: Step[] = [NO_ERROR, ['CONF:VOLT:AC'], undefinedHeader, NO_ERROR]
    expect(await volts(...steps, ['MEAS:VOLT:AC?', '3'], NO_ERROR)).toBe(3)
  })

  test('falls back to MEAS where the meter has no error queue, which is asked for once', async () => {
    const { link, left } = scripted(['SYST:ERR?', null], ['MEAS:VOLT:AC?', '3'], ['MEAS:VOLT:AC?', '4'])
    const meter = new ScpiMeter(link, 0)
    await meter.readOnce('acVolts', never)
    await meter.readOnce('acVolts', never)
    expect(left()).toBe(0)
  })

  test('sets remote mode where the meter wants it, and gives the keys back at the end', async () => {
    const { link, left } = scripted(
      NO_ERROR,
      ['CONF:VOLT:AC'],
      ['SYST:ERR?', '+550,"Command not allowed in local"'],
      NO_ERROR,
      ['SYST:REM'],
      NO_ERROR,
      ['CONF:VOLT:AC'],
      NO_ERROR,
      ['READ?', '1'],
      NO_ERROR,
      ['SYST:LOC'],
    )
    const meter = new ScpiMeter(link, 0)
    expect((await meter.readOnce('acVolts', never)).value).toBe(1)
    await meter.close()
    expect(left()).toBe(0)
  })

  test('that is refused is said, and is tried again the next time', async () => {
    const refusal: Step[] = [NO_ERROR, ['CONF:VOLT:AC'], ['SYST:ERR?', '-221,"Settings conflict"'], NO_ERROR]
    const { link, left } = scripted(...refusal, ...refusal)
    const meter = new ScpiMeter(link, 0)
    for (let n = 0; n < 2; n++) {
      await expect(meter.readOnce('acVolts', never)).rejects.toThrow(
        'the meter refuses "CONF:VOLT:AC": -221,"Settings conflict" (PORT). Set it to AC volts and remote mode',
      )
    }
    expect(left()).toBe(0)
  })
})

test('a complaint after a reading takes its trust away', async () => {
  const steps: Step[] = [...SET_UP, ['READ?', '1.5'], ['SYST:ERR?', '-363,"Input buffer overrun"'], NO_ERROR]
  await expect(volts(...steps)).rejects.toThrow('the meter refuses "READ?": -363,"Input buffer overrun" (PORT).')
})

test('a queue that never ends is said', async () => {
  const endless = Array.from({ length: 64 }, (): Step => ['SYST:ERR?', '-100,"Command error"'])
  await expect(volts(...endless)).rejects.toThrow('the meter still has errors to tell after 64 of them (PORT).')
})
