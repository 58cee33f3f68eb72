/**
 * The map of a platform from vehicles that were known to be good: labels are given, everything else is measured.
 *
 * A value is the mean over the vehicles. Its tolerance is what is usual, the uncertainty of the reading, and how far one more
 * vehicle may be from the mean of n (prediction interval, t s sqrt(1 + 1/n)), as the root of the sum of squares.
 */
import { cornersOf } from '../job/crossover.js'
import type { BandShape } from '../job/job.js'
import { PROFILES } from '../job/limits.js'
import { defaultReferenceHz } from '../job/parse.js'
import type { Learned, LearnedCorner, MapOutput, MapSource, OutputLabel, PlatformMap } from '../job/platform.js'
import {
  type BlindEdge,
  type BlindOutput,
  blindLevel,
  commonSign,
  delayBetween,
  FADER_DROP_DB,
  namedIn,
} from '../measure/blind-output.js'
import { StopError } from '../units/stop.js'
import { coverageFactor, meanOf } from '../units/uncertainty.js'
import { inHz, listed } from '../units/words.js'
import { delayLimitS } from './checks.js'
import { pairsOf } from './learn-pairs.js'

export interface LearnedVehicle {
  readonly source: MapSource
  /** One for each label. */
  readonly outputs: readonly BlindOutput[]
}

/** How far outputs of good vehicles usually differ where nothing is known. Common practice, no source. */
const USUAL = { share: 0.05, levelDb: PROFILES.standard.levelToleranceDb, cornerPct: 5 } as const
/** What a map file takes. */
const NOTE_LENGTH_MAX = 400
/** Corners of one platform lie within a third of an octave. Common practice, no source. */
const CORNER_RATIO_MAX = 2 ** (1 / 3)

/**
 * @param labels of all outputs, in the order of the map
 * @throws StopError where the vehicles differ so much that they cannot be of one platform
 */
export function learnMap(
  platform: string,
  labels: readonly OutputLabel[],
  vehicles: readonly LearnedVehicle[],
  notes: readonly string[],
): PlatformMap {
  const common = vehicles.map(({ outputs }) => commonSign(outputs.map(({ sign }) => sign)))
  const groups = groupsOf(labels, vehicles)
  const drafts = labels.map((label) => {
    const all = vehicles.map(({ outputs }) => outputs.find(({ lead }) => lead.outputNumber === label.number)!)
    checkAlike(label, all, vehicles, common)
    return draftOf(label, all, common)
  })
  const timed = drafts.map((draft, k) => {
    const group = groups[k]
    const members = labels.filter((_, i) => groups[i] === group).map(({ number }) => number)
    return { ...draft, delayGroup: group, delay: delayOf(draft, members, vehicles) }
  })
  const pairs = pairsOf(timed, labels)
  const outputs = timed.map((output) => ({ ...output, pair: pairs.get(output.number) ?? null }))
  return {
    platform,
    vehicles: vehicles.map(({ source }) => source),
    notes: [...notes, ...notesOn(outputs, vehicles, common)].map((note) => note.slice(0, NOTE_LENGTH_MAX)),
    outputs,
  }
}

/** @param us expanded uncertainties of the single values */
export function learned(values: readonly number[], us: readonly number[], usual: number): Learned {
  const { mean, u: meanU, dof } = meanOf(values)
  // The same rig stands behind all: its uncertainty does not get less by more vehicles.
  const u = Math.max(...us)
  if (dof === 0) return { value: mean, u, spread: null, tolerance: Math.hypot(usual, u) }
  const count = values.length
  const spread = meanU * Math.sqrt(count)
  const t = coverageFactor(dof)
  return {
    value: mean,
    u: Math.hypot(u, t * meanU),
    spread,
    tolerance: Math.hypot(usual, u, t * spread * Math.sqrt(1 + 1 / count)),
  }
}

type Draft = Omit<MapOutput, 'pair' | 'delay' | 'delayGroup'>

function draftOf(label: OutputLabel, all: readonly BlindOutput[], common: readonly (1 | -1)[]): Draft {
  const [first] = all
  const shape = shapeOf(all)
  const [low, high] = (['low', 'high'] as const).map((side) => cornerOf(all, side, shape))
  const corners = cornersOf({ shape, lowHz: low?.value ?? null, highHz: high?.value ?? null })
  const referenceHz = defaultReferenceHz(corners.lowHz, corners.highHz)
  const levels = all.map((one) => blindLevel(one, referenceHz))
  const isLeftLess = Math.abs(first.leftGain) < Math.abs(first.rightGain)
  const share = learned(
    all.map(({ leftGain, rightGain }) => Math.abs(isLeftLess ? leftGain : rightGain)),
    all.map(({ gainU }) => gainU),
    USUAL.share,
  )
  const sized = (gain: number, size: number): number => (gain < 0 ? -size : size)
  const signs = all.map(({ sign }, k) => (sign === null ? null : ((sign * common[k]) as 1 | -1)))
  return {
    number: label.number,
    label: label.label,
    left: sized(first.leftGain, isLeftLess ? share.value : 1 - share.value),
    right: sized(first.rightGain, isLeftLess ? 1 - share.value : share.value),
    share,
    low,
    high,
    shape,
    levelDbv: learned(
      levels.map(({ value }) => value),
      levels.map(({ u }) => u),
      USUAL.levelDb,
    ),
    referenceHz,
    polarity: signs.find((sign) => sign !== null) ?? null,
    ...faderOf(label, all),
  }
}

function cornerOf(all: readonly BlindOutput[], side: 'low' | 'high', shape: BandShape): LearnedCorner | null {
  const known = all.flatMap((one) => one[side] ?? [])
  if (known.length === 0) return null
  // In per cent of their geometric mean: an octave up is as far as one down.
  const logs = known.map((edge) => 100 * Math.log(namedIn(edge, side, shape)))
  const about = learned(
    logs,
    known.map(({ hz, u }) => (100 * u) / hz),
    USUAL.cornerPct,
  )
  const slopes = known.flatMap(({ slopeDbPerOctave }) => (slopeDbPerOctave === null ? [] : [slopeDbPerOctave]))
  return {
    ...about,
    value: Math.exp(about.value / 100),
    slopeDbPerOctave: slopes.length === 0 ? null : meanOf(slopes).mean,
  }
}

/** Both edges of a map entry have one shape; where they differ, the one that is told more often. */
function shapeOf(all: readonly BlindOutput[]): BandShape {
  const shapes = all.flatMap(({ low, high }) => [low, high].flatMap((edge) => edge?.shape ?? []))
  const squared = shapes.filter((shape) => shape === 'linkwitz_riley').length
  return squared > shapes.length / 2 ? 'linkwitz_riley' : 'butterworth'
}

/** A fader turned to the front tells what belongs to the rear; front and none sound alike, and a label has to say it. */
function faderOf({ label, fader }: OutputLabel, all: readonly BlindOutput[]): Pick<MapOutput, 'fader' | 'faderFrom'> {
  const drops = all.flatMap(({ faderDropDb }) => (faderDropDb === null ? [] : [faderDropDb]))
  const said = /\bfront\b/i.test(label) ? 'front' : /\brear\b/i.test(label) ? 'rear' : 'none'
  if (drops.length === 0) {
    if (fader !== null) return { fader, faderFrom: 'job' }
    return { fader: said, faderFrom: said === 'none' ? 'not measured' : 'label' }
  }
  if (meanOf(drops).mean > FADER_DROP_DB) return { fader: 'rear', faderFrom: 'measured' }
  const others = [fader, said].filter((one) => one === 'front')
  return { fader: others.length > 0 ? 'front' : 'none', faderFrom: 'measured' }
}

/** Outputs that were in one patch in every vehicle: numbers of groups from 1, in the order of the outputs. */
function groupsOf(labels: readonly OutputLabel[], vehicles: readonly LearnedVehicle[]): number[] {
  const keys = labels.map(({ number }) =>
    JSON.stringify(
      vehicles.map(({ outputs }) => outputs.find(({ lead }) => lead.outputNumber === number)?.lead.patchName),
    ),
  )
  const distinct = [...new Set(keys)]
  return keys.map((key) => distinct.indexOf(key) + 1)
}

/** Delay against the earliest of its group: earliest by the mean over the vehicles. */
function delayOf(draft: Draft, members: readonly number[], vehicles: readonly LearnedVehicle[]): Learned | null {
  const inGroup = vehicles.map(({ outputs }) => outputs.filter(({ lead }) => members.includes(lead.outputNumber)))
  const settled = members.filter((number) =>
    inGroup.every((outputs) => outputs.some(({ lead, excess }) => lead.outputNumber === number && excess !== null)),
  )
  if (settled.length < 2 || !settled.includes(draft.number)) return null
  const ofNumber = (outputs: readonly BlindOutput[], number: number): BlindOutput =>
    outputs.find(({ lead }) => lead.outputNumber === number)!
  const lateOf = (number: number): number =>
    inGroup.reduce((sum, outputs) => sum + ofNumber(outputs, number).excess!.delayS, 0)
  const uOf = (number: number): number =>
    Math.max(...inGroup.map((outputs) => ofNumber(outputs, number).excess!.delayU))
  const first = settled.reduce((best, number) => (lateOf(number) < lateOf(best) ? number : best))
  // As early as the first, as far as can be told: of these the one that is known best.
  const earliest = settled
    .filter((number) => (lateOf(number) - lateOf(first)) / inGroup.length <= Math.hypot(uOf(number), uOf(first)))
    .reduce((best, number) => (uOf(number) < uOf(best) ? number : best))
  const differences = inGroup.map((outputs) =>
    delayBetween(ofNumber(outputs, draft.number), ofNumber(outputs, earliest)),
  )
  const { value, ...rest } = learned(
    differences.map(({ delayS }) => delayS),
    differences.map(({ u }) => u),
    delayLimitS({ highHz: draft.high?.value ?? null }, PROFILES.standard.delayToleranceS),
  )
  return { value: Math.max(0, value), ...rest }
}

/** What no tolerance can cover: then one of them is of another platform, or not good. */
function checkAlike(
  { number, label }: OutputLabel,
  all: readonly BlindOutput[],
  vehicles: readonly LearnedVehicle[],
  common: readonly (1 | -1)[],
): void {
  const [first] = all
  const isTurned = (k: number): boolean =>
    first.sign !== null && all[k].sign !== null && first.sign * common[0] !== all[k].sign * common[k]
  all.forEach((one, k) => {
    const differ = isTurned(k) ? 'it has the opposite polarity' : differsIn(first, one)
    if (differ === null) return
    throw new StopError(
      `output ${number} ${label} differs between the vehicles: ${differ}`,
      `${vehicles[0].source.run} and ${vehicles[k].source.run}`,
      'Learn a map from vehicles of one platform that are known to be good; leave the odd one out.',
    )
  })
}

function differsIn(a: BlindOutput, b: BlindOutput): string | null {
  const hears = ({ leftGain, rightGain }: BlindOutput): string =>
    leftGain === 0
      ? 'right alone'
      : rightGain === 0
        ? 'left alone'
        : leftGain * rightGain < 0
          ? 'left less right'
          : 'both'
  if (hears(a) !== hears(b)) return `it hears ${hears(a)} in one and ${hears(b)} in the other`
  for (const edge of ['low', 'high'] as const) {
    const [x, y] = [a[edge], b[edge]]
    const words = (one: BlindEdge | null): string => (one === null ? 'nowhere' : `at ${inHz(one.namedHz)}`)
    const isApart = x && y ? Math.max(x.hz / y.hz, y.hz / x.hz) > CORNER_RATIO_MAX : x !== y
    if (isApart) return `its band ends ${words(x)} in one and ${words(y)} in the other (${edge} edge)`
  }
  return null
}

function notesOn(
  outputs: readonly MapOutput[],
  vehicles: readonly LearnedVehicle[],
  common: readonly (1 | -1)[],
): string[] {
  const turned = vehicles.filter((_, k) => common[k] < 0).map(({ source }) => source.run)
  const unknown = outputs.filter(({ polarity }) => polarity === null).map(({ number }) => number)
  const timeless = outputs.filter(({ delay }) => delay === null).map(({ number }) => number)
  const groupCount = new Set(outputs.map(({ delayGroup }) => delayGroup)).size
  return [
    ...(turned.length === 0
      ? []
      : [
          `In ${listed(turned)} most outputs were inverted against the source: something turned all of them. The map counts polarity from most of them.`,
        ]),
    ...(unknown.length === 0 ? [] : [`The polarity of ${listed(unknown)} could not be told.`]),
    ...(timeless.length === 0 ? [] : [`The delay of ${listed(timeless)} could not be compared with another output.`]),
    ...(groupCount === 1
      ? []
      : [`The outputs were taken in ${groupCount} groups of leads: delays compare inside a group only (delay_group).`]),
    ...(outputs.some(({ faderFrom }) => faderFrom === 'measured')
      ? []
      : ['No take with the fader to the front was made: fader groups were not measured.']),
  ]
}
