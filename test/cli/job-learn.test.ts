import { appendFileSync, cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, beforeAll, beforeEach, describe, expect, test, vi } from 'vitest'
import { jobCompareCommand } from '../../src/cli/job-compare.js'
import { jobLearnCommand, type LearnOptions } from '../../src/cli/job-learn.js'
import { jobNewCommand } from '../../src/cli/job-new.js'
import { verifyCommand } from '../../src/cli/verify.js'
import { parseJob } from '../../src/job/parse.js'
import { parseMap } from '../../src/job/platform-schema.js'
import { encodeWav } from '../../src/wav/encode.js'
import { audioOf, playTrack } from '../kit/track.js'
import { FULL_SCALE_VRMS, wireOf } from '../kit/vehicle.js'

const GO_ON = new AbortController().signal
const JOB = `
name: three
vehicle: { model: Tarn, plate: LT 1 }
platform: Tarn 2025
outputs:
  - { number: 1, label: front left, left: 1, right: 0, level_vrms: 2, pair: front }
  - { number: 2, label: front right, left: 0, right: 1, level_vrms: 2, pair: front }
  - { number: 3, label: subwoofer, left: 0.5, right: 0.5, band: { high_hz: 80 }, level_vrms: 2.5 }
`
const RIG = `
name: recorder
capture: { driver: recording, bits: 24 }
player: { driver: none }
inputs: { count: 4, full_scale_vrms: ${FULL_SCALE_VRMS}, pad_db: 0, level_uncertainty_db: 0.1 }
`

let folder: string
let shown: string
const at = (name: string): string => join(folder, name)
const { isTTY } = process.stdin

beforeAll(async () => {
  process.stdin.isTTY = false
  folder = mkdtempSync(join(tmpdir(), 'linetrue-learn-'))
  vi.spyOn(process.stdout, 'write').mockImplementation((text) => {
    shown += String(text)
    return true
  })
  vi.spyOn(process.stderr, 'write').mockImplementation((text) => {
    shown += String(text)
    return true
  })
  const played = playTrack({ leadInS: 0.3, tailS: 0.3, ppm: 20 })
  const wires = parseJob(JOB, 'job.yaml').outputs.map((spec) => wireOf(spec, played))
  // A fourth channel with nothing on it.
  const silent = new Float64Array(played.left.length).map((_, n) => (n % 2 === 0 ? 1e-6 : -1e-6))
  writeFileSync(at('take.wav'), encodeWav(audioOf(48_000, ...wires, silent), 24, 1))
  writeFileSync(at('job.yaml'), JOB)
  writeFileSync(at('rig.yaml'), RIG)
  shown = ''
  const verify = {
    jobPath: at('job.yaml'),
    rig: at('rig.yaml'),
    recording: [at('take.wav')],
    out: at('run-20260401-100000'),
  }
  await verifyCommand({ ...verify, isAttended: false, version: 'test' }, GO_ON)
  // The noise of a take with few outputs is no matter here.
  const result = JSON.parse(readFileSync(at('run-20260401-100000/result.json'), 'utf8'))
  expect(result.outputs).toHaveLength(3)
  edited('run-20260401-100000', (text) =>
    text.replace(/"verdict": "\w+",\n "summary"/, '"verdict": "pass",\n "summary"'),
  )
})
beforeEach(() => {
  shown = ''
})
afterAll(() => {
  process.stdin.isTTY = isTTY
  vi.restoreAllMocks()
  rmSync(folder, { recursive: true })
})

const edited = (run: string, edit: (text: string) => string): void => {
  const path = at(`${run}/result.json`)
  writeFileSync(path, edit(readFileSync(path, 'utf8')))
}
const copied = (run: string, edit: (text: string) => string): string => {
  cpSync(at('run-20260401-100000'), at(run), { recursive: true })
  edited(run, edit)
  return at(run)
}
const learn = (options: Partial<LearnOptions>): Promise<number> =>
  jobLearnCommand(
    { runs: [], recording: [], out: at(`map-${Math.floor(performance.now() * 1000)}.yaml`), ...options },
    GO_ON,
  )
const mapAt = (name: string) => parseMap(readFileSync(at(name), 'utf8'), name)

describe('a map from a finished run', () => {
  test('keeps the labels of its job, and a vehicle is like its own map', async () => {
    expect(await learn({ runs: [at('job.yaml')], out: at('map.yaml') })).toBe(0)
    const map = mapAt('map.yaml')
    expect(map.platform).toBe('Tarn 2025')
    expect(map.outputs.map(({ label, pair }) => `${label} ${pair}`)).toEqual([
      'front left front',
      'front right front',
      'subwoofer null',
    ])
    expect(map.vehicles).toMatchObject([{ verdict: 'pass', vehicle: 'Tarn' }])
    expect(shown).toContain('Tarn 2025: 3 outputs, learned from one vehicle')
    expect(await jobCompareCommand(at('job.yaml'), at('map.yaml'), GO_ON)).toBe(0)
    expect(shown).toContain('SAME    All 3 outputs are as the map of the platform says.')
  })

  test('makes the next job, which is as the vehicle is', async () => {
    writeFileSync(at('answers.yaml'), 'model: Tarn\nplate: LT 2\n')
    expect(
      await jobNewCommand({ path: at('next.yaml'), answers: at('answers.yaml'), map: at('map.yaml') }, GO_ON),
    ).toBe(0)
    const job = parseJob(readFileSync(at('next.yaml'), 'utf8'), 'next.yaml')
    expect(job).toMatchObject({ platform: 'Tarn 2025', vehicle: { model: 'Tarn', plate: 'LT 2' } })
    // Truth: the job that the wires were made from; level within the 0.1 dB of the rig.
    expect(job.outputs[2].highHz).toBeCloseTo(80, 1)
    expect(Math.abs(20 * Math.log10(job.outputs[2].levelVrms / 2.5))).toBeLessThan(0.1)
  })

  test('tells by its exit status what differs', async () => {
    const text = readFileSync(at('map.yaml'), 'utf8')
    writeFileSync(at('other.yaml'), text.replace('polarity: normal', 'polarity: inverted'))
    expect(await jobCompareCommand(at('job.yaml'), at('other.yaml'), GO_ON)).toBe(1)
    expect(shown).toContain('differs 1 front left: polarity')
    writeFileSync(at('unknown.yaml'), text.replace('polarity: normal', 'polarity: unknown'))
    expect(await jobCompareCommand(at('job.yaml'), at('unknown.yaml'), GO_ON)).toBe(2)
  })

  test('is refused where the run did not pass, unless asked for, and then says so', async () => {
    const failed = copied('run-failed', (text) =>
      text.replace('"verdict": "pass",\n "summary"', '"verdict": "fail",\n "summary"'),
    )
    await expect(learn({ runs: [failed] })).rejects.toThrow('this run is not known to be good')
    expect(await learn({ runs: [failed], anyway: true, out: at('anyway.yaml') })).toBe(0)
    expect(mapAt('anyway.yaml').notes[0]).toMatch(/is not known to be good \(fail\), and was learned from anyway/)
  })

  test.each([
    [
      'of another platform',
      (text: string) => text.replace('Tarn 2025', 'Tarn 2019'),
      'vehicles of different platforms: "Tarn 2019" and "Tarn 2025"',
    ],
    [
      'with other outputs',
      (text: string) => text.replace('"number": 3,\n   "label"', '"number": 4,\n   "label"'),
      'the vehicles have different outputs: 1, 2, 4 and 1, 2, 3',
    ],
    [
      'whose take has changed',
      (text: string) => text.replace(/"sha256": "./, '"sha256": "x'),
      'this take is not the one that was measured',
    ],
    ['that is broken', () => '{', 'result.json is not whole'],
  ])('is refused together with a vehicle %s', async (name, edit, says) => {
    const odd = copied(`run-${name.replaceAll(' ', '-')}`, edit)
    await expect(learn({ runs: [odd, at('run-20260401-100000')] })).rejects.toThrow(says)
  })

  test.each([
    [{ runs: [] }, 'nothing is named to learn from'],
    [{ runs: ['/nowhere'] }, 'there is no such run or job (/nowhere)'],
    [{ recording: ['a.wav'] }, 'recordings without a rig'],
    [{ runs: ['a'], recording: ['a.wav'] }, 'both runs and recordings are given'],
  ])('needs something to learn from: %j', async (options, says) => {
    await expect(learn(options)).rejects.toThrow(says)
  })

  test('is never written over a file, and needs its folder, before anything is measured', async () => {
    await expect(learn({ runs: ['/nowhere'], out: at('map.yaml') })).rejects.toThrow('there is such a file already')
    await expect(learn({ runs: ['/nowhere'], out: at('no/map.yaml') })).rejects.toThrow(
      'the folder of this file is not there',
    )
  })

  test('is read with the line of what is wrong in it', async () => {
    appendFileSync(at('unknown.yaml'), '  - { number: 1 }\n')
    await expect(jobCompareCommand(at('job.yaml'), at('unknown.yaml'), GO_ON)).rejects.toThrow(
      /unknown\.yaml:\d+, outputs\[4\]/,
    )
    writeFileSync(
      at('other.yaml'),
      readFileSync(at('map.yaml'), 'utf8').replace('platform: Tarn 2025', 'platform: Fell'),
    )
    await expect(jobCompareCommand(at('job.yaml'), at('other.yaml'), GO_ON)).rejects.toThrow(
      'the vehicle is of platform "Tarn 2025", the map of "Fell"',
    )
  })
})

describe('a map from recordings of outputs of which nothing is known', () => {
  test('is measured with labels from answers; an input that hears nothing is left out', async () => {
    writeFileSync(at('labels.yaml'), 'platform: "Fell: 1"\nlabel_1: "links, [oben]"\nlabel_3: tief\n')
    const blind = { recording: [at('take.wav')], rig: at('rig.yaml') }
    expect(await learn({ ...blind, answers: at('labels.yaml'), out: at('blind.yaml') })).toBe(0)
    expect(shown).toContain('Left out, for nothing of the track is heard there: output 4.')
    const [blindMap, map] = [mapAt('blind.yaml'), mapAt('map.yaml')]
    expect(blindMap.platform).toBe('Fell: 1')
    expect(blindMap.outputs.map(({ label }) => label)).toEqual(['links, [oben]', 'output 2', 'tief'])
    blindMap.outputs.forEach((output, k) => {
      expect(output.levelDbv.value).toBeCloseTo(map.outputs[k].levelDbv.value, 3)
      expect(output.left).toBeCloseTo(map.outputs[k].left, 3)
    })
    expect(blindMap.outputs[2].high!.value).toBeCloseTo(80, 1)
    expect(blindMap.vehicles[0].verdict).toBe('not judged')
    writeFileSync(at('labels.yaml'), 'label_1: tief\nlabel_3: tief\n')
    await expect(learn({ ...blind, answers: at('labels.yaml') })).rejects.toThrow(
      `label_3: "tief" won't do (${at('labels.yaml')}). "tief" is given already`,
    )
    await expect(learn({ ...blind, outputs: '99' })).rejects.toThrow('there would be 99 outputs (--outputs)')
  })
})
