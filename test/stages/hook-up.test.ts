import { readFileSync } from 'node:fs'
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import type { Rig } from '../../src/rig/rig.js'
import type { Bench, Block } from '../../src/rig/roles.js'
import { checkLeads, connectLeads, type Person } from '../../src/stages/hook-up.js'
import { softStart } from '../../src/stages/soft-start.js'
import { planPatches } from '../../src/stimulus/plan.js'
import { StopError } from '../../src/units/stop.js'
import { simulatedBench } from '../../src/vehicle/bench.js'
import { parseFaults } from '../../src/vehicle/faults.js'
import { STILL } from '../kit/still.js'
import { captured, rigWith } from '../measure/lead-probe-world.js'

const JOB = parseJob(readFileSync(new URL('../../captures/quillon/job.yaml', import.meta.url), 'utf8'), 'job.yaml')
const GO_ON = new AbortController().signal

/** A person who writes down what is said, and answers by a list. */
function written(isAttended: boolean, answers: string[] = []): Person & { readonly said: string[] } {
  const said: string[] = []
  return {
    said,
    isAttended,
    say: (text) => void said.push(text),
    choose: async (prompt) => {
      said.push(prompt)
      return answers.shift() ?? 'c'
    },
  }
}

async function checked(faults: string, person: Person, inputCount = 4, patchIndex = 0): Promise<readonly string[]> {
  const rig = rigWith(inputCount)
  const patches = planPatches(JOB, rig)
  const bench = simulatedBench(JOB, rig, parseFaults(faults, 'faults.yaml'), patches)
  await connectLeads(bench, JOB, rig, patches[patchIndex], new Map(), person, GO_ON)
  return checkLeads(bench, JOB, rig, patches[patchIndex], person, () => {}, GO_ON)
}

const CHOICE = 'Move what is wrong and press Enter to probe again; or type c and Enter to go on as it is.'
const SWAPPED = [
  'patch 1: input 3 hears the right side only, as output 4 front right low would; expected output 3 front left low: move the lead or confirm',
  'patch 1: input 4 hears the left side only, as output 3 front left low would; expected output 4 front right low: move the lead or confirm',
  'patch 1: the leads of inputs 3 and 4 look exchanged',
]

describe('the leads of a simulated vehicle', () => {
  test('that are right are not spoken of', async () => {
    const person = written(true)
    expect(await checked('{}', person, 12)).toEqual([])
    expect(person.said).toEqual([])
  })

  test('that are exchanged are said before the take, and probed again when they were moved', async () => {
    const person = written(true, [''])
    expect(await checked('leads: { put: { 3: 4, 4: 3 }, times: 1 }', person)).toEqual([])
    expect(person.said).toEqual([...SWAPPED, CHOICE])
  })

  test('that a person confirms stay, and the notes say so', async () => {
    const person = written(true, ['c'])
    expect(await checked('leads: { put: { 3: 4, 4: 3 } }', person)).toEqual([
      'patch 1, input 3 hears the right side only, as output 4 front right low would; expected output 3 front left low (confirmed at the bench)',
      'patch 1, input 4 hears the left side only, as output 3 front left low would; expected output 4 front right low (confirmed at the bench)',
      'patch 1, the leads of inputs 3 and 4 look exchanged (confirmed at the bench)',
    ])
  })

  test('that are wrong in a run that nobody attends are noted, and the run goes on', async () => {
    const person = written(false)
    const notes = await checked('outputs: { 3: { swapped_with: 4 } }', person)
    expect(person.said).toEqual(SWAPPED)
    expect(notes).toHaveLength(3)
    expect(notes[0]).toContain('(gone on, nobody attends)')
  })

  test('of which one is off, or its output dead, are said to hear nothing', async () => {
    const nothing = (input: number, output: string): string =>
      `patch 2: input ${input} hears nothing: lead off, output dead, or amplifier asleep; expected output ${output}`
    const off = written(false)
    await checked('leads: { put: { 5: 0 } }', off, 4, 1)
    expect(off.said).toEqual([nothing(1, '5 rear left')])
    const dead = written(false)
    await checked('outputs: { 6: { dead: true } }', dead, 4, 1)
    expect(dead.said).toEqual([nothing(2, '6 rear right')])
  })

  test('that all hear nothing are one thing, not four', async () => {
    const person = written(false)
    await checked('leads: { put: { 1: 0, 2: 0, 3: 0, 4: 0 } }', person)
    expect(person.said).toEqual([
      'patch 1: no input hears the quiet probe: player not on the head unit, another source chosen, or the volume down',
    ])
  })

  test('of which a quiet one is on a loud output are a wrong lead, not a wrong gain', async () => {
    // The rear fill is expected at 4 mV a side; the subwoofer gives 25 mV, of which a third is in its band.
    const person = written(false)
    await checked('leads: { put: { 8: 9, 9: 8 } }', person, 12)
    expect(person.said[0]).toMatch(
      /^patch 1: input 8 hears the left side only, lows only, as output 9 subwoofer left would/,
    )
  })

  test('on an output that is 7 dB over the map stop the run, as ever; 5 dB do not', async () => {
    const rig = rigWith(12)
    const patches = planPatches(JOB, rig)
    const started = (gainDb: number): Promise<unknown> => {
      const faults = parseFaults(`outputs: { 5: { gain_db: ${gainDb} } }`, 'faults.yaml')
      const bench = simulatedBench(JOB, rig, faults, patches)
      return bench.connect('patch 1', GO_ON).then(() => softStart(bench, JOB, rig, patches[0], () => {}, GO_ON))
    }
    await expect(started(7)).rejects.toThrow(
      /^output 5 rear left reads 4\d mV on the quiet probe, the map expects 18 mV; nothing louder was played \(patch 1, input 5\)\./,
    )
    await expect(started(5)).resolves.toHaveLength(10)
  })
})

/** A live bench in name: each play is a round of the probe with the leads as they are by then. */
function benchOf(
  rig: Rig,
  leadsAt: (round: number) => readonly (number | null)[],
): {
  bench: Bench
  prompts: string[]
  rounds: () => number
  answer: () => void
} {
  let round = 0
  let listener: ((block: Block) => void) | null = null
  let answer = (): void => {}
  const prompts: string[] = []
  const bench: Bench = {
    says: 'closed form',
    ...STILL,
    isSimulated: false,
    capture: {
      where: 'card',
      start: async (onBlock) => {
        listener = onBlock
        return { sampleRateHz: 48_000, inputCount: rig.inputs.length, stop: async () => [] }
      },
    },
    player: {
      where: 'output',
      play: async (_, signal) => {
        signal.throwIfAborted()
        const inputs = leadsAt(round++).map((number) => ({
          spec: JOB.outputs.find((output) => output.number === number) ?? null,
          noiseVrms: 2e-5,
        }))
        listener?.(captured(inputs, 0.4, 0, round * 7919).channels)
      },
    },
    meter: null,
    connect: (_, signal, prompt) => {
      prompts.push(prompt ?? '')
      return new Promise((resolve, reject) => {
        answer = resolve
        signal.addEventListener('abort', () => reject(signal.reason))
      })
    },
    set: async () => {},
    close: async () => {},
  }
  return { bench, prompts, rounds: () => round, answer: () => answer() }
}

describe('while a person moves leads', () => {
  // A take of a card that is not simulated waits for what is still on its way: not here.
  beforeEach(() => {
    vi.spyOn(globalThis, 'setTimeout').mockImplementation(((act: () => void) =>
      setImmediate(act)) as unknown as typeof setTimeout)
  })
  afterEach(() => vi.restoreAllMocks())

  const rig: Rig = { ...rigWith(2), player: { driver: 'computer', device: null } }
  const [first, second] = planPatches(JOB, rig)

  test('the run goes on by itself after three probes in a row that agree', async () => {
    const person = written(true)
    // One lead off, both right, one moved off again, then right for good.
    const { bench, prompts, rounds } = benchOf(
      rig,
      (round) =>
        [
          [1, null],
          [1, 3],
          [null, 3],
        ][round] ?? [1, 3],
    )
    const after = await connectLeads(bench, JOB, rig, first, new Map(), person, GO_ON)
    expect(rounds()).toBe(6)
    expect(person.said).toEqual([
      'input 1 right, others not yet',
      'inputs 1 and 2 right',
      'input 2 right, others not yet',
      'inputs 1 and 2 right',
      'All inputs hear what patch 1 should give, 3 times in a row: going on.',
    ])
    expect(prompts).toEqual([
      [
        'Connect the leads of patch 1:',
        '  input 1 ← output 1  front left high',
        '  input 2 ← output 3  front left low',
        'Amplifiers stay unplugged or their gains down.',
        'A quiet probe repeats meanwhile; when all inputs are right the run goes on by itself.',
      ].join('\n'),
    ])
    expect([...after]).toEqual([
      [1, 1],
      [2, 3],
    ])
  }, 60_000)

  test('Enter goes on at once, whatever the probe says', async () => {
    const { bench, answer } = benchOf(rig, () => [null, null])
    const connected = connectLeads(bench, JOB, rig, first, new Map(), written(true), GO_ON)
    setTimeout(answer, 50)
    await expect(connected).resolves.toBeDefined()
  })

  test('an interrupt ends it with its reason', async () => {
    const stop = new AbortController()
    const { bench } = benchOf(rig, () => [null, null])
    const connected = connectLeads(bench, JOB, rig, first, new Map(), written(true), stop.signal)
    setTimeout(() => stop.abort(new Error('Ctrl-C')), 50)
    await expect(connected).rejects.toThrow('Ctrl-C')
  })

  test('a lead that would sound the same where it was counts once it was off', async () => {
    const twin = { ...JOB.outputs[4], number: 11, label: 'second rear left' }
    const job = { ...JOB, outputs: [...JOB.outputs, twin] }
    const patch = { name: 'twin', leads: [{ inputNumber: 1, outputNumber: 11 }] }
    // Still on output 5 for four probes, off for one, then on its twin.
    const { bench, rounds } = benchOf(rig, (round) => (round === 4 ? [null, null] : [5, null]))
    await connectLeads(bench, job, rig, patch, new Map([[1, 5]]), written(true), GO_ON)
    expect(rounds()).toBe(8)
  }, 60_000)

  test('a probe that fails leaves the prompt standing and says why', async () => {
    const { bench, answer } = benchOf(rig, () => {
      throw new StopError('the card is gone', 'card', 'Plug it in.', 'instrument')
    })
    const person = written(true)
    // The prompt is answered once the word was said.
    const say = (text: string): void => {
      person.say(text)
      answer()
    }
    await connectLeads(bench, JOB, rig, second, new Map(), { ...person, say }, GO_ON)
    expect(person.said).toEqual(['The probe has stopped: the card is gone (card).'])
  })

  test('nothing is played where a person starts the player', async () => {
    const byHand: Rig = { ...rig, player: { driver: 'none', device: null } }
    const { bench, rounds, answer } = benchOf(byHand, () => [1, 3])
    const connected = connectLeads(bench, JOB, byHand, first, new Map(), written(true), GO_ON)
    setTimeout(answer, 20)
    await connected
    expect(rounds()).toBe(0)
  })
})
