import { expect, test } from 'vitest'
import { settingPrompt } from '../../src/instruments/bench.js'
import type { Job } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'
import { parseRig } from '../../src/rig/parse.js'
import type { Bench, Setting } from '../../src/rig/roles.js'
import { benchTakes } from '../../src/stages/bench-takes.js'
import { planPatches } from '../../src/stimulus/plan.js'
import type { Audio } from '../../src/units/audio.js'

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
  for await (const take of benchTakes(
    bench,
    job,
    RIG,
    planPatches(job, RIG),
    store,
    () => {},
    () => {},
    GO_ON,
  )) {
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
  expect(settingPrompt('reference', 30)).toContain('the volume at 30, engine off')
  expect(settingPrompt('reference', null)).toContain('the volume of your job notes')
  expect(settingPrompt('volume_20', 30)).toBe(
    'Set the volume to 20; balance and fader in the middle. Change nothing else.',
  )
  expect(settingPrompt('fader_front', 30)).toBe('Turn the fader fully to the front. Change nothing else.')
})
