import { existsSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest'
import { rigNewCommand } from '../../src/cli/rig-new.js'
import { type Found, type FoundDevice, RIG_ANSWERS, rigSteps } from '../../src/cli/rig-questions.js'
import { parseRig } from '../../src/rig/parse.js'
import type { Rig } from '../../src/rig/rig.js'

const GO_ON = new AbortController().signal
const CARD: FoundDevice = {
  driver: 'alsa',
  name: 'hw:CARD=Eight,DEV=0',
  says: 'Eight, line in',
  channelCount: 8,
  sampleRateHz: 96_000,
  notes: [],
}
const FOUND: Found = {
  captures: [CARD, { ...CARD, driver: 'pulse', name: 'alsa_input.eight', channelCount: null, sampleRateHz: null }],
  players: [
    { ...CARD, driver: 'pulse', name: 'alsa_output.two' },
    { ...CARD, name: 'hw:CARD=Two,DEV=0' },
  ],
  ports: [{ path: '/dev/ttyUSB0', says: '/dev/ttyUSB0 (Adapter Works)' }],
}
const NOTHING: Found = { captures: [], players: [], ports: [] }

let folder: string
let shown: string[]
const { isTTY } = process.stdin
beforeEach(() => {
  // Nobody is there to answer, wherever the tests run.
  process.stdin.isTTY = false
  folder = mkdtempSync(join(tmpdir(), 'linetrue-new-'))
  shown = []
  vi.spyOn(process.stdout, 'write').mockImplementation((text) => shown.push(String(text)) > 0)
  vi.spyOn(process.stderr, 'write').mockImplementation(() => true)
})
afterEach(() => {
  process.stdin.isTTY = isTTY
  vi.restoreAllMocks()
  rmSync(folder, { recursive: true })
})

const target = (): string => join(folder, 'bay.yaml')
async function made(answers: string, found: Found = FOUND): Promise<Rig> {
  writeFileSync(join(folder, 'answers.yaml'), answers)
  const status = await rigNewCommand(
    { path: target(), answers: join(folder, 'answers.yaml') },
    GO_ON,
    async () => found,
  )
  expect(status).toBe(0)
  return parseRig(readFileSync(target(), 'utf8'), 'bay.yaml')
}

describe('a new rig file', () => {
  test('takes what is there where nothing else is answered', async () => {
    expect(await made('name: Bay 2\n')).toMatchObject({
      name: 'Bay 2',
      capture: { driver: 'alsa', device: 'hw:CARD=Eight,DEV=0', sampleRateHz: 96_000, bits: 24 },
      player: { driver: 'alsa', device: 'hw:CARD=Two,DEV=0' },
      meter: {
        driver: 'scpi',
        port: '/dev/ttyUSB0',
        baudRate: 9600,
        inputNumber: 1,
        accuracyPct: 1,
        accuracyVrms: 0.005,
      },
    })
    const text = readFileSync(target(), 'utf8')
    // Full scale that nobody knew is a wide guess, and marked as one.
    expect(text).toMatch(/full_scale_vrms: 2 # CHANGE/)
    expect(text).toMatch(/level_uncertainty_db: 6 # CHANGE/)
    expect(shown.join('')).toBe(`Written ${target()}\nNext: linetrue rig check ${target()}\n`)
  })

  test('holds every answer that was given', async () => {
    const rig = await made(
      [
        'capture: 2',
        'sample_rate_hz: 44100',
        'input_count: 4',
        'full_scale: 20 dBu',
        'pad_db: 12',
        'level_uncertainty_db: 0.4',
        'player: stick',
        'meter: serial:A1B2',
        'meter_driver: frames',
        'meter_frame: characters',
        'meter_baud_rate: 19200',
        'meter_input: 3',
        'meter_accuracy_pct: 0.8',
        'meter_accuracy_vrms: 0.003',
      ].join('\n'),
    )
    expect(rig).toMatchObject({
      capture: { driver: 'pulse', device: 'alsa_input.eight', sampleRateHz: 44_100 },
      player: { driver: 'stick', device: null },
      meter: { driver: 'frames', port: 'serial:A1B2', baudRate: 19_200, frame: 'characters', inputNumber: 3 },
    })
    expect(rig.meter).toMatchObject({ accuracyPct: 0.8, accuracyVrms: 0.003 })
    expect(rig.inputs).toHaveLength(4)
    // Truth: 0 dBu is the voltage of 1 mW in 600 ohms, so 20 dBu are 10 * sqrt 0.6 V.
    expect(rig.inputs[0].fullScaleVrms).toBeCloseTo(10 * Math.sqrt(0.6), 3)
    expect(rig.inputs[0]).toMatchObject({ padDb: 12, levelUncertaintyDb: 0.4 })
  })

  // Truth: closed forms of the scales.
  test.each([
    ['4', 4],
    ['2.5 V', 2.5],
    ['6 dBV', 10 ** (6 / 20)],
    ['900 mV', 0.9],
    ['8 Vpp', 8 / (2 * Math.SQRT2)],
    ['"1,5 Vrms"', 1.5],
  ])('understands a full scale of %s', async (answer, volts) => {
    expect((await made(`full_scale: ${answer}\n`)).inputs[0].fullScaleVrms).toBeCloseTo(volts, 3)
  })

  test("of the sound server's output names the computer's own", async () => {
    expect((await made('player: pulse alsa_output.two\n')).player).toEqual({
      driver: 'computer',
      device: 'alsa_output.two',
    })
  })

  test('may name a card and a port that are not plugged in now', async () => {
    expect(await made('capture: alsa hw:CARD=Away,DEV=1\nmeter: COM7\n', NOTHING)).toMatchObject({
      capture: { driver: 'alsa', device: 'hw:CARD=Away,DEV=1' },
      player: { driver: 'stick' },
      meter: { port: 'COM7' },
    })
  })

  test('is a simulated one where there is no hardware', async () => {
    const rig = await made('', NOTHING)
    expect(rig).toMatchObject({ capture: { driver: 'simulated' }, player: { driver: 'simulated' } })
    expect(rig.meter!.driver).toBe('simulated')
  })

  test('is a simulated one where only names are there that lead through the sound server', async () => {
    const notes = ['may lead through converters or a sound server']
    const named = { ...CARD, name: 'pulse', channelCount: null, sampleRateHz: null, notes }
    expect((await made('', { ...NOTHING, captures: [named] })).capture.driver).toBe('simulated')
    rmSync(target())
    expect((await made('capture: 1\n', { ...NOTHING, captures: [named] })).capture.device).toBe('pulse')
  })

  test('without a meter says how one is added', async () => {
    expect((await made('meter: none\n')).meter).toBeNull()
    expect(readFileSync(target(), 'utf8')).toContain('# No meter. To have one check the volts, add its lines:')
  })

  test('quotes a name that YAML would read otherwise', async () => {
    expect((await made('name: "bay: 2 # left"\n')).name).toBe('bay: 2 # left')
  })
})

describe('stops with one line at', () => {
  const messageOf = (answers: string | null, path = target()): Promise<string> => {
    if (answers !== null) writeFileSync(join(folder, 'answers.yaml'), answers)
    const options = answers === null ? { path } : { path, answers: join(folder, 'answers.yaml') }
    return rigNewCommand(options, GO_ON, async () => FOUND).then(
      () => Promise.reject(new Error('no stop was thrown')),
      (error: Error) => error.message,
    )
  }

  test('a file that is there already, and leaves it as it is', async () => {
    writeFileSync(target(), 'mine\n')
    expect(await messageOf('')).toContain('there is such a file already, and it stays as it is')
    expect(readFileSync(target(), 'utf8')).toBe('mine\n')
  })

  test('a folder that is not there', async () => {
    expect(await messageOf('', join(folder, 'none', 'bay.yaml'))).toContain('the folder of this file is not there')
  })

  test('an answer to a question that there is not, before anything is looked for', async () => {
    writeFileSync(join(folder, 'answers.yaml'), 'pad: 6\n')
    const find = vi.fn(async () => FOUND)
    const options = { path: target(), answers: join(folder, 'answers.yaml') }
    await expect(rigNewCommand(options, GO_ON, find)).rejects.toThrow(/^no question is named "pad" here .*, pad_db, /)
    expect(find).not.toHaveBeenCalled()
  })

  test('every question has its name in the list of answers', () => {
    const answers = new Map([
      ['full_scale', '4 V'],
      ['meter_driver', 'frames'],
    ])
    const names = rigSteps(FOUND).flatMap((step) => step(answers)?.name ?? [])
    expect(names).toEqual(RIG_ANSWERS)
  })

  test('no terminal and no answers', async () => {
    expect(await messageOf(null)).toContain('a person is asked a few questions (no terminal to answer from)')
    expect(existsSync(target())).toBe(false)
  })

  test.each([
    ['full_scale: loud', 'full_scale: "loud" won\'t do'],
    ['input_count: 9', 'Allowed: a whole number from 1 to 8.'],
    ['sample_rate_hz: 32000', 'Allowed: 44100, 48000, 88200, 96000, 176400, 192000.'],
    ['capture: 7', 'Allowed: 1 to 3, or a driver (pulse, alsa, ffmpeg) and a name'],
    ['meter: nowhere', 'Allowed: a number of the list, a port (/dev/ttyUSB0, COM3, serial:A1B2C3), or none.'],
    ['meter: none\nmeter_input: 2', 'no question is named "meter_input" here'],
    ['[1, 2]', 'these are no answers'],
    ['name: { a: 1 }', '"name" has no single value'],
    ['name: [', 'answers.yaml:'],
  ])('the answers %j', async (answers, says) => {
    expect(await messageOf(answers)).toContain(says)
    expect(existsSync(target())).toBe(false)
  })

  test('a file of answers that is not there', async () => {
    const options = { path: target(), answers: join(folder, 'none.yaml') }
    await expect(rigNewCommand(options, GO_ON, async () => FOUND)).rejects.toThrow('answers file not found')
  })
})
