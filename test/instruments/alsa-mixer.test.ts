import { describe, expect, test } from 'vitest'
import { mixerTrouble, parseControls } from '../../src/instruments/alsa-mixer.js'

// In the form of `amixer contents` of alsa-utils 1.2.8 (show_control in amixer.c), written for a made-up card.
const control = (id: number, name: string, rest: string): string =>
  `numid=${id},iface=MIXER,name='${name}'\n  ; type=${rest}\n`
const VOLUME = (value: number): string =>
  control(3, 'Mic Capture Volume', 'INTEGER,access=rw---R--,values=2,min=0,max=30,step=0') +
  `  : values=${value},16\n  | dBscale-min=-16.00dB,step=1.00dB,mute=0\n`
const ENDS = (value: number): string =>
  control(4, 'Line Capture Volume', 'INTEGER,access=rw---R--,values=1,min=0,max=100,step=0') +
  `  : values=${value}\n  | dBminmax-min=0.00dB,max=25.00dB\n`
const SWITCH = (name: string, value: string): string =>
  `${control(5, name, 'BOOLEAN,access=rw------,values=1')}  : values=${value}\n`
const CHOICE = (item: number): string =>
  `${control(6, 'Noise Suppression Mode', 'ENUMERATED,access=rw------,values=1,items=2')}  ; Item #0 'Off'\n  ; Item #1 'High'\n  : values=${item}\n`

const troubleOf = (...texts: string[]) => mixerTrouble(parseControls(texts.join('')), 'card')

describe("a card's own controls", () => {
  test('are read with their scale in decibels', () => {
    expect(parseControls(VOLUME(16) + CHOICE(0))).toEqual([
      {
        id: 3,
        name: 'Mic Capture Volume',
        type: 'INTEGER',
        values: ['16', '16'],
        items: [],
        scale: { min: 0, max: 30, minDb: -16, maxDb: 14 },
      },
      { id: 6, name: 'Noise Suppression Mode', type: 'ENUMERATED', values: ['0'], items: ['Off', 'High'], scale: null },
    ])
  })

  test('at 0 dB, open and plain are no trouble; nor is a card without any', () => {
    expect(
      troubleOf(VOLUME(16), ENDS(0), SWITCH('Mic Capture Switch', 'on'), SWITCH('Auto Gain Control', 'off')),
    ).toBeNull()
    expect(troubleOf(CHOICE(0))).toBeNull()
    expect(troubleOf('')).toBeNull()
    // Playback is no part of the way.
    expect(troubleOf(SWITCH('Master Playback Switch', 'off'))).toBeNull()
  })

  // Closed form: -16 dB + 20 steps of 1 dB; 40 of 100 steps over 25 dB.
  test.each([
    [VOLUME(20), '"Mic Capture Volume" is 4.0 dB off', 'Set it to 0.0 dB: amixer -c card cset numid=3 16'],
    [VOLUME(0), '"Mic Capture Volume" is -16.0 dB off', 'numid=3 16'],
    [ENDS(40), '"Line Capture Volume" is 10.0 dB off', 'Set it to 0.0 dB: amixer -c card cset numid=4 0'],
  ])('away from 0 dB are named (%#)', (text, says, remedy) => {
    expect(troubleOf(text)?.says).toContain(says)
    expect(troubleOf(text)?.remedy).toContain(remedy)
  })

  test('of a path that is switched off do not count, but all paths off are a mute', () => {
    const off = SWITCH('Mic Capture Switch', 'off')
    expect(troubleOf(VOLUME(20), off, SWITCH('Line Capture Switch', 'on'))).toBeNull()
    expect(troubleOf(off)).toEqual({
      says: 'the capture is muted: the card\'s control "Mic Capture Switch" is off',
      remedy: 'Switch it on: amixer -c card cset numid=5 on',
    })
  })

  test.each([
    [SWITCH('Auto Gain Control', 'on'), '"Auto Gain Control" is on', 'cset numid=5 off'],
    [SWITCH('Mic AGC Switch', 'on'), '"Mic AGC Switch" is on', 'cset numid=5 off'],
    [CHOICE(1), '"Noise Suppression Mode" is on', 'cset numid=6 0'],
  ])('that change the sound are named (%#)', (text, says, remedy) => {
    expect(troubleOf(text)?.says).toBe(`the card changes what it captures: its control ${says}`)
    expect(troubleOf(text)?.remedy).toContain(remedy)
  })
})
