/** linetrue rig check, levels and devices as a person calls them, on the simulated rig. */
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest'
import { rigCheckCommand } from '../../src/cli/rig-check.js'
import { rigDevicesCommand } from '../../src/cli/rig-devices.js'
import { rigLevelsCommand } from '../../src/cli/rig-levels.js'
import { StopError } from '../../src/units/stop.js'

const GO_ON = new AbortController().signal
let folder: string
let shown: string[]
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'linetrue-looks-'))
  shown = []
  vi.spyOn(process.stdout, 'write').mockImplementation((text) => shown.push(String(text)) > 0)
  vi.spyOn(process.stderr, 'write').mockImplementation(() => true)
})
afterEach(() => {
  vi.restoreAllMocks()
  rmSync(folder, { recursive: true })
})

function rigFile(faults = '', more = ''): string {
  writeFileSync(join(folder, 'card.yaml'), `capture: { lead_in_s: 0.3, trail_s: 0.3, ${faults} }\n`)
  const path = join(folder, 'bench.yaml')
  writeFileSync(
    path,
    `name: small bench
capture: { driver: simulated }
player: { driver: simulated }
inputs: { count: 2, full_scale_vrms: 4, level_uncertainty_db: 0.1 }
faults: card.yaml
${more}`,
  )
  return path
}
const METER = 'meter: { driver: simulated, accuracy_pct: 0.5, accuracy_vrms: 0.002 }\n'
const check = (rigPath: string, signal = GO_ON): Promise<number> =>
  rigCheckCommand({ rigPath, isAttended: false }, signal)
const text = (): string => shown.join('')
const RECORDING =
  'name: r\ncapture: { driver: recording }\nplayer: { driver: none }\ninputs: { count: 1, full_scale_vrms: 2, level_uncertainty_db: 0.3 }\n'

describe('rig check', () => {
  test('ends with 0 on a healthy rig, with a row for each input and what comes next', async () => {
    const path = rigFile('', METER)
    expect(await check(path)).toBe(0)
    const lines = text().split('\n')
    expect(lines[0]).toBe("PASS    Both inputs hear the player's quiet tones.")
    expect(text()).toContain('SIMULATED: a model was checked, no card.')
    // Truth: three tones whose peaks add up to -40 dBFS are -40 + 20 lg (1 / sqrt 3) dBFS, and 2 V on 4 V are -6.02 dB more.
    const row = /^ {2}1 {2}ok +−111\.\d {2}none +−50\.8 +12 mV +−6\.0 +left$/
    expect(lines).toContainEqual(expect.stringMatching(row))
    expect(text().replace(/\s+/g, ' ')).toContain('reads AC volts, 2')
    expect(text().replace(/\s+/g, ' ')).toContain('linetrue rig calibrate')
    expect(Math.max(...lines.map(({ length }) => length))).toBeLessThanOrEqual(80)
  })

  test('ends with 1 where an input is silent, and says what to do', async () => {
    expect(await check(rigFile('inputs: { 2: { dead: true } }'))).toBe(1)
    expect(text()).toMatch(/^FAIL {4}1 of 2 inputs hear the player's quiet tones\.$/m)
    expect(text()).toMatch(/^ {2}2 {2}SILENT .* nothing$/m)
    expect(text()).toMatch(/^fail {4}Input 2 stays at the floor/m)
    expect(text()).toMatch(/^next {4}mend that, then: linetrue rig check/m)
  })

  test('ends with 2 where something may spoil a run', async () => {
    expect(await check(rigFile('hum: { freq_hz: 60, level_dbv: -55 }'))).toBe(2)
    expect(text()).toMatch(/^unsure {2}Hum of 60 Hz on inputs 1 and 2, up to −55 dBV at the lead\.$/m)
  })

  test('leaves columns out in a narrow window', async () => {
    const columns = process.stdout.columns
    process.stdout.columns = 48
    try {
      await check(rigFile())
    } finally {
      process.stdout.columns = columns
    }
    expect(
      Math.max(
        ...text()
          .split('\n')
          .filter((line) => /^( In| {3,}dBFS| {2}\d )/.test(line))
          .map(({ length }) => length),
      ),
    ).toBeLessThan(48)
    expect(text()).toMatch(/^ {2}1 {2}ok .* left$/m)
    expect(text()).not.toContain('At full')
  })

  test.each([
    ['a file that is not there', null, /^rig file not found \(.*none\.yaml\)\. .*linetrue rig new FILE makes one/],
    ['a file that is no rig', 'name: [\n', /wrong\.yaml:/],
    ['a rig for recordings', RECORDING, /^this rig is for recordings made elsewhere, there is no card to look at/],
  ])('stops with one line at %s', async (_, content, says) => {
    const path = join(folder, content === null ? 'none.yaml' : 'wrong.yaml')
    if (content !== null) writeFileSync(path, content)
    await expect(check(path)).rejects.toThrow(says)
    await expect(rigLevelsCommand({ rigPath: path }, GO_ON)).rejects.toThrow(says)
  })

  test('stops where a person stops it', async () => {
    const reason = new StopError('stopped by Ctrl-C', 'this run', 'Give it again.', 'instrument')
    const stopping = new AbortController()
    const path = rigFile()
    // At the check's first word, however fast the computer is.
    vi.spyOn(process.stderr, 'write').mockImplementation(() => {
      stopping.abort(reason)
      return true
    })
    await expect(check(path, stopping.signal)).rejects.toBe(reason)
    expect(text()).toBe('')
  })
})

describe('rig levels on a pipe', () => {
  test('writes one line a second and ends after its time', async () => {
    expect(await rigLevelsCommand({ rigPath: rigFile(), tone: true, for: '2' }, GO_ON)).toBe(0)
    // Truth: -40 dB of 2 V on 4 V of full scale.
    expect(shown).toEqual([
      '1 s  input 1: −46.0 dBFS 20 mV  input 2: −46.0 dBFS 20 mV\n',
      '2 s  input 1: −46.0 dBFS 20 mV  input 2: −46.0 dBFS 20 mV\n',
    ])
  })

  test('ends with 0 at Ctrl-C: there is no other end to it', async () => {
    const stopping = new AbortController()
    setTimeout(() => stopping.abort(new StopError('stopped by Ctrl-C', 'this run', 'Again.', 'instrument')), 300)
    expect(await rigLevelsCommand({ rigPath: rigFile() }, stopping.signal)).toBe(0)
  })

  test.each(['0', '-1', 'long', ''])('wants a length of time, not %j', async (length) => {
    await expect(rigLevelsCommand({ rigPath: rigFile(), for: length }, GO_ON)).rejects.toThrow(
      `"${length}" is no length of time (--for). Allowed: seconds, more than 0 up to 86400.`,
    )
  })

  test('has no tone where a person plays', async () => {
    const path = join(folder, 'stick.yaml')
    writeFileSync(path, RECORDING.replace('recording', 'pulse').replace('none', 'stick'))
    await expect(rigLevelsCommand({ rigPath: path, tone: true }, GO_ON)).rejects.toThrow(
      'this rig has no player of its own, so there is no tone (--tone). Leave --tone out',
    )
  })
})

test('rig devices ends with 0 whatever there is, and says what comes next', async () => {
  expect(await rigDevicesCommand(GO_ON)).toBe(0)
  expect(text()).toMatch(/^Cards, for capture:\n/)
  expect(text()).toContain('Serial ports, for meter:')
  expect(text()).toMatch(/linetrue rig new FILE/)
  expect(text()).not.toContain('\x1b')
})
