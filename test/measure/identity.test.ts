/** Who is who: the assignment against brute force, and the cases that a technician meets. */
import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import type { OutputSpec } from '../../src/job/job.js'
import { parseJob } from '../../src/job/parse.js'
import { type Identity, identify, type LeadFeatures } from '../../src/measure/identity.js'
import { vrms } from '../../src/units/level.js'

const specsOf = (lines: readonly string[]): readonly OutputSpec[] =>
  parseJob(
    `name: job\nvehicle: { model: Quillon }\noutputs:\n${lines.map((line) => `  - { ${line}, level_vrms: 2 }\n`).join('')}`,
    'job.yaml',
  ).outputs

/** A lead on which exactly what the entry says is found. */
const carrying = (
  spec: OutputSpec,
  outputNumber: number,
  offsetDb = 0,
  faderDropDb: number | null = null,
): LeadFeatures => ({
  outputNumber,
  passband: {
    gain: 1,
    lowHz: spec.lowHz,
    highHz: spec.highHz,
    sideRad: Math.atan2(Math.abs(spec.rightGain), Math.abs(spec.leftGain)),
    sidePhase: spec.leftGain !== 0 && spec.rightGain !== 0 ? Math.sign(spec.leftGain * spec.rightGain) : 0,
  },
  levelDbvAt: () => 20 * Math.log10(spec.levelVrms * Math.hypot(spec.leftGain, spec.rightGain)) + offsetDb,
  faderDropDb,
})
const dead = (outputNumber: number): LeadFeatures => ({
  outputNumber,
  passband: null,
  levelDbvAt: () => -120,
  faderDropDb: null,
})
const said = (identities: readonly Identity[]): string =>
  identities.map(({ outputNumber, identifiedAs }) => `${outputNumber}=${identifiedAs ?? 'dead'}`).join(' ')

describe('the assignment', () => {
  /**
   * The cost as it is described, written anew: squared differences in units of 15 degrees of side angle, half of the
   * phase's cosine, half an octave, 3 dB of level; each 9 at most (level 4); 9 for the wrong end of the fader; and
   * 0.05 off for the lead's own entry.
   */
  function cost(lead: LeadFeatures, spec: OutputSpec, offsetDb: number): number {
    const band = lead.passband!
    const square = (x: number, most: number): number => Math.min(x * x, most)
    const angleRad = Math.atan2(Math.abs(spec.rightGain), Math.abs(spec.leftGain))
    let sum = square((band.sideRad - angleRad) / (Math.PI / 12), 9)
    if (spec.leftGain * spec.rightGain !== 0 && band.sideRad > 0.2 && band.sideRad < 1.37) {
      sum += square(2 * (band.sidePhase - Math.sign(spec.leftGain * spec.rightGain)), 9)
    }
    sum += square(2 * Math.log2((band.lowHz ?? 20) / (spec.lowHz ?? 20)), 9)
    sum += square(2 * Math.log2((band.highHz ?? 20_000) / (spec.highHz ?? 20_000)), 9)
    const fullDbv = 20 * Math.log10(spec.levelVrms * Math.hypot(spec.leftGain, spec.rightGain))
    sum += square((lead.levelDbvAt(spec.referenceHz) - fullDbv - offsetDb) / 3, 4)
    if (lead.faderDropDb !== null && lead.faderDropDb > 12 !== (spec.faderGroup === 'rear')) sum += 9
    return sum - (lead.outputNumber === spec.number ? 0.05 : 0)
  }

  /** The middle of what each lead is off from its own entry. */
  function volumeDb(leads: readonly LeadFeatures[], specs: readonly OutputSpec[]): number {
    const offsets = leads
      .map((lead) => {
        const spec = specs.find(({ number }) => number === lead.outputNumber)!
        return (
          lead.levelDbvAt(spec.referenceHz) -
          20 * Math.log10(spec.levelVrms * Math.hypot(spec.leftGain, spec.rightGain))
        )
      })
      .sort((a, b) => a - b)
    const half = offsets.length / 2
    return (offsets[Math.ceil(half) - 1] + offsets[Math.floor(half)]) / 2
  }

  /** The least cost over every way to give each lead an entry of its own. */
  function leastCost(costs: readonly (readonly number[])[], taken: readonly number[] = []): number {
    const row = taken.length
    if (row === costs.length) return 0
    let least = Number.POSITIVE_INFINITY
    for (let entry = 0; entry < costs[row].length; entry++) {
      if (!taken.includes(entry)) least = Math.min(least, costs[row][entry] + leastCost(costs, [...taken, entry]))
    }
    return least
  }

  const gainPairs = fc.constantFrom([1, 0], [0, 1], [0.5, 0.5], [0.7, 0.3], [1, -1])
  const bands = fc.constantFrom([null, null], [3000, null], [null, 3000], [null, 80], [100, null], [150, 7000])
  const anEntry = fc.record({
    gains: gainPairs,
    band: bands,
    levelVrms: fc.double({ min: 0.2, max: 8, noNaN: true }),
    fader: fc.constantFrom('front' as const, 'rear' as const, 'none' as const),
  })
  const aLead = fc.record({
    isDead: fc.boolean(),
    sideRad: fc.double({ min: 0, max: Math.PI / 2, noNaN: true }),
    sidePhase: fc.double({ min: -1, max: 1, noNaN: true }),
    band: bands,
    octavesOff: fc.double({ min: -1, max: 1, noNaN: true }),
    levelDbv: fc.double({ min: -40, max: 20, noNaN: true }),
    faderDropDb: fc.option(fc.double({ min: -1, max: 40, noNaN: true })),
  })

  test('costs as little as the best of all permutations, for up to six outputs', () => {
    fc.assert(
      fc.property(fc.array(fc.tuple(anEntry, aLead), { minLength: 1, maxLength: 6 }), (rows) => {
        const specs = rows.map(
          ([{ gains, band, levelVrms, fader }], i): OutputSpec => ({
            ...carryAll,
            number: i + 1,
            leftGain: gains[0]!,
            rightGain: gains[1]!,
            lowHz: band[0],
            highHz: band[1],
            levelVrms: vrms(levelVrms),
            faderGroup: fader,
          }),
        )
        const leads = rows.map(
          ([, lead], i): LeadFeatures => ({
            outputNumber: i + 1,
            passband: lead.isDead
              ? null
              : {
                  gain: 1,
                  lowHz: lead.band[0] && lead.band[0] * 2 ** lead.octavesOff,
                  highHz: lead.band[1] && lead.band[1] * 2 ** lead.octavesOff,
                  sideRad: lead.sideRad,
                  sidePhase: lead.sidePhase,
                },
            levelDbvAt: () => lead.levelDbv,
            faderDropDb: lead.faderDropDb,
          }),
        )
        const identities = identify(leads, specs)
        const alive = leads.filter(({ passband }) => passband !== null)
        const dead_ = identities.filter((_, i) => leads[i].passband === null)
        expect(dead_.every(({ identifiedAs }) => identifiedAs === null)).toBe(true)
        if (alive.length === 0) return
        const offsetDb = volumeDb(alive, specs)
        const costs = alive.map((lead) => specs.map((spec) => cost(lead, spec, offsetDb)))
        const found = identities.filter((_, i) => leads[i].passband !== null)
        expect(new Set(found.map(({ identifiedAs }) => identifiedAs)).size).toBe(alive.length)
        const foundCost = found.reduce((sum, { identifiedAs }, row) => sum + costs[row][identifiedAs! - 1], 0)
        // Rounding of sums of six costs of at most 40.
        expect(Math.abs(foundCost - leastCost(costs))).toBeLessThan(1e-9)
      }),
      { numRuns: 150, seed: 20_250_301 },
    )
  })
  const [carryAll] = specsOf(['number: 1, label: any, left: 1, right: 0'])
})

describe('of a vehicle with six outputs', () => {
  const specs = specsOf([
    'number: 1, label: front left, left: 1, right: 0, fader: front',
    'number: 2, label: front right, left: 0, right: 1, fader: front',
    'number: 3, label: high left, left: 1, right: 0, band: { low_hz: 3000 }',
    'number: 4, label: high right, left: 0, right: 1, band: { low_hz: 3000 }',
    'number: 5, label: centre, left: 0.5, right: 0.5, band: { low_hz: 100 }',
    'number: 6, label: subwoofer, left: 0.5, right: 0.5, band: { high_hz: 80 }',
  ])
  /** Which entry each lead carries, by number; 0 for nothing. */
  const wired = (carries: readonly number[], offsetDb = 0): LeadFeatures[] =>
    carries.map((number, i) => (number === 0 ? dead(i + 1) : carrying(specs[number - 1], i + 1, offsetDb)))

  test('each is itself when all is as the map says', () => {
    const identities = identify(wired([1, 2, 3, 4, 5, 6]), specs)
    expect(said(identities)).toBe('1=1 2=2 3=3 4=4 5=5 6=6')
    expect(identities.flatMap(({ alikeWith }) => alikeWith)).toEqual([])
  })

  test('two swapped leads are found as each other', () => {
    expect(said(identify(wired([2, 1, 3, 4, 5, 6]), specs))).toBe('1=2 2=1 3=3 4=4 5=5 6=6')
    expect(said(identify(wired([1, 2, 3, 4, 6, 5]), specs))).toBe('1=1 2=2 3=3 4=4 5=6 6=5')
  })

  test('a round of three is found', () => {
    expect(said(identify(wired([2, 4, 3, 1, 5, 6]), specs))).toBe('1=2 2=4 3=3 4=1 5=5 6=6')
  })

  test('a dead lead leaves its entry free and takes nobody with it', () => {
    expect(said(identify(wired([1, 0, 3, 4, 5, 6]), specs))).toBe('1=1 2=dead 3=3 4=4 5=5 6=6')
    expect(said(identify(wired([2, 0, 3, 4, 5, 6]), specs))).toBe('1=2 2=dead 3=3 4=4 5=5 6=6')
    expect(said(identify(wired([0, 0, 0, 0, 0, 0]), specs))).toBe('1=dead 2=dead 3=dead 4=dead 5=dead 6=dead')
  })

  test('fewer leads than entries are told apart as well', () => {
    expect(said(identify([carrying(specs[5], 5), carrying(specs[4], 6)], specs))).toBe('5=6 6=5')
  })

  test('a volume that is off for all changes nothing', () => {
    for (const carries of [
      [1, 2, 3, 4, 5, 6],
      [2, 1, 3, 4, 5, 6],
      [1, 0, 4, 3, 5, 6],
    ]) {
      for (const offsetDb of [-10, -30, 6]) {
        expect(identify(wired(carries, offsetDb), specs)).toEqual(identify(wired(carries), specs))
      }
    }
  })

  test('the order of leads and of entries makes no difference', () => {
    const straight = identify(wired([2, 4, 3, 1, 6, 5]), specs)
    fc.assert(
      fc.property(fc.constantFrom(...permutations(6)), fc.constantFrom(...permutations(6)), (leadOrder, entryOrder) => {
        const leads = leadOrder.map((k) => wired([2, 4, 3, 1, 6, 5])[k])
        const turned = identify(
          leads,
          entryOrder.map((k) => specs[k]),
        )
        for (const identity of turned) expect(straight).toContainEqual(identity)
      }),
      { numRuns: 50, seed: 20_250_302 },
    )
  })
})

function permutations(count: number): number[][] {
  if (count === 0) return [[]]
  return permutations(count - 1).flatMap((rest) =>
    Array.from({ length: count }, (_, place) => [...rest.slice(0, place), count - 1, ...rest.slice(place)]),
  )
}

describe('outputs that the map cannot tell apart', () => {
  const specs = specsOf([
    'number: 1, label: front left, left: 1, right: 0, fader: front',
    'number: 2, label: front right, left: 0, right: 1, fader: front',
    'number: 3, label: rear left, left: 1, right: 0, fader: rear',
    'number: 4, label: rear right, left: 0, right: 1, fader: rear',
  ])

  test('are said to be alike, and keep their own number', () => {
    const identities = identify(
      specs.map((spec) => carrying(spec, spec.number)),
      specs,
    )
    expect(said(identities)).toBe('1=1 2=2 3=3 4=4')
    expect(identities.map(({ alikeWith }) => alikeWith)).toEqual([[3], [4], [1], [2]])
  })

  test('are told apart by a take with the fader to the front', () => {
    // The front keeps its level; the rear falls by the depth of the fader.
    const faded = (spec: OutputSpec, number: number): LeadFeatures =>
      carrying(spec, number, 0, spec.faderGroup === 'rear' ? 40 : 0.1)
    const healthy = identify(
      specs.map((spec) => faded(spec, spec.number)),
      specs,
    )
    expect(said(healthy)).toBe('1=1 2=2 3=3 4=4')
    expect(healthy.flatMap(({ alikeWith }) => alikeWith)).toEqual([])

    const swapped = identify(
      [2, 1, 0, 3].map((k, i) => faded(specs[k], i + 1)),
      specs,
    )
    expect(said(swapped)).toBe('1=3 2=2 3=1 4=4')
    expect(swapped.flatMap(({ alikeWith }) => alikeWith)).toEqual([])
  })
})
