import { describe, expect, test } from 'vitest'
import { settingPrompt } from '../../src/instruments/bench.js'
import type { Job } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'
import { parseRig } from '../../src/rig/parse.js'
import type { Bench, Setting } from '../../src/rig/roles.js'
import { benchTakes, NO_WITNESS } from '../../src/stages/bench-takes.js'
import { plannedTakes } from '../../src/stages/planned-takes.js'
import { NO_MEMORY, type RunMemory } from '../../src/stages/run-memory.js'
import { type Take, verify } from '../../src/stages/verify.js'
import { planPatches } from '../../src/stimulus/plan.js'
import type { Audio } from '../../src/units/audio.js'
import { StopError } from '../../src/units/stop.js'
import { bareRequest } from '../kit/request.js'
import { STILL } from '../kit/still.js'

const GO_ON = new AbortController().signal
const RIG = parseRig(
  `name: test
capture: { driver: simulated }
player: { driver: simulated }
inputs: { count: 1, full_scale_vrms: 4, level_uncertainty_db: 0.1 }
`,
  'rig',
)
const jobWith = (takes: string): Job =>
  parseJob(
    `name: test
vehicle: { model: test }
volume_step: 30
extra_takes: [${takes}]
outputs:
  - { number: 1, label: front, left: 1, right: 0, level_vrms: 1, fader: front }
  - { number: 2, label: rear, left: 1, right: 0, level_vrms: 1, fader: rear }
`,
    'job.yaml',
  )

/** A bench that writes down what is asked of it: silence on its input. */
function writtenBench(said: string[]): Bench {
  return {
    says: 'written',
    ...STILL,
    isSimulated: true,
    capture: {
      where: 'nowhere',
      start: async (onBlock) => {
        onBlock([new Float32Array(480)])
        return { sampleRateHz: 48_000, inputCount: 1, stop: async () => [] }
      },
    },
    player: {
      where: 'nowhere',
      play: async ({ channels, sampleRateHz }: Audio) => {
        said.push(channels[0].length / sampleRateHz < 5 ? 'probe' : 'track')
      },
    },
    meter: null,
    connect: async (patch) => void said.push(String(patch)),
    set: async (setting: Setting) => void said.push(setting),
    close: async () => {},
  }
}

async function run(job: Job): Promise<{ said: string[]; takes: string[]; files: string[] }> {
  const [said, takes, files]: [string[], string[], string[]] = [[], [], []]
  const store = {
    open: async (name: string) => {
      files.push(name)
      return { append: () => {}, finish: async () => {}, discard: async () => {} }
    },
    sha256: async () => '',
  }
  const bench = writtenBench(said)
  for await (const take of benchTakes(bench, job, RIG, planPatches(job, RIG), store, NO_WITNESS, () => {}, GO_ON)) {
    takes.push(`${take.patchName} ${take.setting}`)
  }
  return { said, takes, files }
}

test('each patch is taken at all settings before the next one, with the engine last', async () => {
  const { said, takes, files } = await run(jobWith('engine_running, fader_front, volume_20'))
  const one = ['reference', 'probe', 'track', 'fader_front', 'track', 'volume_20', 'track', 'engine_running', 'track']
  expect(said).toEqual(['patch 1', ...one, 'patch 2', ...one])
  const settings = ['reference', 'fader_front', 'volume_20', 'engine_running']
  expect(takes).toEqual(['patch 1', 'patch 2'].flatMap((patch) => settings.map((setting) => `${patch} ${setting}`)))
  expect(files).toEqual(
    ['patch-1', 'patch-2'].flatMap((patch) =>
      ['', '-fader-front', '-volume-20', '-engine-running'].map((part) => `takes/${patch}${part}.wav`),
    ),
  )
})

test('a volume above that of the reference begins with the quiet probe again', async () => {
  const { said } = await run(jobWith('volume_35'))
  expect(said.slice(0, 6)).toEqual(['patch 1', 'reference', 'probe', 'track', 'volume_35', 'probe'])
})

test('without extra takes each patch is taken once', async () => {
  expect((await run(jobWith(''))).takes).toEqual(['patch 1 reference', 'patch 2 reference'])
})

test('a person is told what to set, and of carbon monoxide before anything else', () => {
  expect(settingPrompt('engine_running', 30)).toMatch(
    /^Only with the exhaust led outside or in the open: carbon monoxide kills .* the volume at 30\. Start the engine/,
  )
  expect(settingPrompt('reference', 30)).toContain('volume at 30; engine off; amplifier gains down')
  expect(settingPrompt('reference', null)).toContain('volume as in your job notes')
  expect(settingPrompt('volume_20', 30)).toBe(
    'Set the volume to 20; balance and fader in the middle. Change nothing else.',
  )
  expect(settingPrompt('fader_front', 30)).toBe('Turn the fader fully to the front. Change nothing else.')
})

describe('a run that goes on', () => {
  const made = (take: { patch: { name: string }; setting: Setting }): Take => ({
    patchName: take.patch.name,
    setting: take.setting,
    audio: { sampleRateHz: 48_000, channels: [new Float32Array(1)] },
    captureBits: 24,
    source: 'made before',
    sha256: async () => '',
    faults: [],
  })
  const goOn = async (job: Job, isMade: (patch: string, setting: Setting) => boolean) => {
    const [said, takes]: [string[], string[]] = [[], []]
    const memory: RunMemory = {
      ...NO_MEMORY,
      earlier: async (take) => (isMade(take.patch.name, take.setting) ? made(take) : null),
    }
    const store = {
      open: async () => ({ append: () => {}, finish: async () => {}, discard: async () => {} }),
      sha256: async () => '',
    }
    const nobody = (): void => {}
    const patches = planPatches(job, RIG)
    const bench = writtenBench(said)
    for await (const take of benchTakes(bench, job, RIG, patches, store, NO_WITNESS, nobody, GO_ON, memory)) {
      takes.push(`${take.patchName} ${take.setting}: ${take.source}`)
    }
    return { said, takes }
  }

  test('plays only what is left, and tells what was made in its place', async () => {
    const { said, takes } = await goOn(jobWith(''), (patch) => patch === 'patch 1')
    expect(said).toEqual(['patch 2', 'reference', 'probe', 'track'])
    expect(takes).toEqual(['patch 1 reference: made before', 'patch 2 reference: takes/patch-2.wav'])
  })

  test('in the middle of a patch sets the head unit as at its beginning, and probes, before anything else', async () => {
    const { said } = await goOn(jobWith('fader_front, volume_20'), (patch, setting) => {
      return patch === 'patch 1' ? setting !== 'volume_20' : true
    })
    expect(said).toEqual(['patch 1', 'reference', 'probe', 'volume_20', 'track'])
  })
})

test('takes get a file each, though their names differ only in what a file name cannot hold', () => {
  const patches = ['front high', 'front-high', 'перед', 'зад'].map((name) => ({ name, leads: [] }))
  expect(plannedTakes(jobWith('volume_20'), patches).map(({ name }) => name)).toEqual([
    'takes/front-high.wav',
    'takes/front-high-volume-20.wav',
    'takes/front-high--2.wav',
    'takes/front-high-volume-20--2.wav',
    'takes/patch.wav',
    'takes/patch-volume-20.wav',
    'takes/patch--2.wav',
    'takes/patch-volume-20--2.wav',
  ])
})

test('a take without a track in it is refused, and the run stops', async () => {
  const job = jobWith('')
  const patches = planPatches(job, RIG)
  const refused: string[] = []
  const take: Take = {
    patchName: 'patch 1',
    setting: 'reference',
    audio: { sampleRateHz: 48_000, channels: [new Float32Array(48_000)] },
    captureBits: 24,
    source: 'takes/patch-1.wav',
    sha256: async () => '',
    faults: [],
    refuse: async ({ message }) => void refused.push(message),
  }
  const running = verify(
    bareRequest(job, RIG, patches),
    (async function* () {
      yield take
    })(),
    () => {},
    GO_ON,
  )
  const error = await running.catch((reason: unknown) => reason)
  expect(error).toBeInstanceOf(StopError)
  expect(refused).toEqual([(error as StopError).message])
})
