/**
 * A vehicle held against the map of its platform: what differs by more than the map's tolerance and the uncertainty of the
 * reading, and what cannot be told.
 */
import { type MapOutput, type PlatformMap, specOfMap } from '../job/platform.js'
import {
  type BlindOutput,
  blindLevel,
  commonSign,
  FADER_DROP_DB,
  namedIn,
  passbandVrms,
} from '../measure/blind-output.js'
import { type Identity, identify } from '../measure/identity.js'
import type { LeadData } from '../measure/lead.js'
import { featuresOf } from '../measure/outputs.js'
import { median } from '../measure/passband.js'
import { inDb, inHz, inMs, inVolts, listed, plain } from '../units/words.js'
import { type Compared, comparedDelays } from './compare-delays.js'
import { held, worst } from './decision.js'
import type { Verdict } from './parts.js'

/** One quantity of one output, held against the map; fail: it differs, unsure: it cannot be told. */
export interface MapRow {
  readonly output: number
  readonly label: string
  readonly quantity:
    | 'signal'
    | 'identity'
    | 'sides'
    | 'level'
    | 'low edge'
    | 'high edge'
    | 'polarity'
    | 'delay'
    | 'fader'
  readonly verdict: Verdict
  readonly map: string
  readonly measured: string
  /** Empty for a pass. */
  readonly why: string
}

export interface MapComparison {
  readonly verdict: Verdict
  readonly rows: readonly MapRow[]
  readonly notes: readonly string[]
}

/** Far below the others: nothing of the track. */
const DEAD_DB_BELOW = 30
const SLOPE_DB = 3

/** @param leads of all outputs, with what each tells without a map; null where nothing comes out of it */
export function compareWithMap(
  vehicle: readonly { readonly lead: LeadData; readonly output: BlindOutput | null }[],
  map: PlatformMap,
): MapComparison {
  const entryOf = (number: number): MapOutput => map.outputs.find((entry) => entry.number === number)!
  const features = vehicle.map(({ lead }) => featuresOf(lead, specOfMap(entryOf(lead.outputNumber)), DEAD_DB_BELOW))
  const identities = identify(features, map.outputs.map(specOfMap))
  const isAlive = (k: number): boolean => identities[k].identifiedAs !== null && vehicle[k].output !== null
  const alive = vehicle.flatMap(({ output }, k): Compared[] =>
    output !== null && isAlive(k) ? [{ output, entry: entryOf(identities[k].identifiedAs!) }] : [],
  )
  const offset = levelOffset(alive)
  const common = commonSign(
    alive.map(({ output, entry }) =>
      output.sign === null || entry.polarity === null ? null : ((output.sign * entry.polarity) as 1 | -1),
    ),
  )
  const delays = comparedDelays(alive)
  const rows = vehicle.flatMap(({ lead, output }, k): MapRow[] => {
    const own = entryOf(lead.outputNumber)
    const say = (
      quantity: MapRow['quantity'],
      verdict: Verdict,
      inMap: string,
      measured: string,
      why = '',
    ): MapRow => ({
      output: own.number,
      label: own.label,
      quantity,
      verdict,
      map: inMap,
      measured,
      why: verdict === 'pass' ? '' : why,
    })
    if (output === null || !isAlive(k)) {
      const measured = output === null ? 'nothing but noise' : inVolts(passbandVrms(output))
      return [
        say('signal', 'fail', inVolts(specOfMap(own).levelVrms), measured, 'Nothing of the track comes out of it.'),
      ]
    }
    const entry = entryOf(identities[k].identifiedAs!)
    const delay = delays.get(output)
    return [
      identityRow(identities[k], own, entry, map, say),
      sidesRow(output, entry, say),
      levelRow(output, entry, offset.isCommon ? offset.db : 0, say),
      ...(['low', 'high'] as const).map((side) => edgeRow(side, output, entry, say)),
      polarityRow(output, entry, common, say),
      ...(delay
        ? [
            say(
              'delay',
              delay.verdict,
              `${inMs(delay.mapS)} ± ${plain(1000 * delay.toleranceS, 2)} ms`,
              delay.measured,
              delay.why,
            ),
          ]
        : []),
      ...faderRows(output, entry, say),
    ]
  })
  return {
    verdict: worst([...rows.map(({ verdict }) => verdict), offset.isCommon ? 'fail' : 'pass']),
    rows,
    notes: [
      ...(offset.isCommon
        ? [
            `All outputs are ${inDb(offset.db)} from the map together: the volume, most likely. Levels are held against each other.`,
          ]
        : []),
      ...(common < 0
        ? ['Most outputs are inverted against the source: something turns all of them. Polarity is held against most.']
        : []),
    ],
  }
}

type Say = (quantity: MapRow['quantity'], verdict: Verdict, inMap: string, measured: string, why?: string) => MapRow

/** By how much all are off together; more than any tolerance of the map, it is the head unit's volume and no output's. */
function levelOffset(alive: readonly Compared[]): { db: number; isCommon: boolean } {
  if (alive.length < 2) return { db: 0, isCommon: false }
  const levels = alive.map(({ output, entry }) => blindLevel(output, entry.referenceHz))
  const db = median(levels.map(({ value }, k) => value - alive[k].entry.levelDbv.value))
  const tolerance = Math.max(...alive.map(({ entry }) => entry.levelDbv.tolerance))
  const u = Math.max(...levels.map((level) => level.u))
  return { db, isCommon: held(db, u, { min: -tolerance, max: tolerance }) === 'fail' }
}

function identityRow(identity: Identity, own: MapOutput, entry: MapOutput, map: PlatformMap, say: Say): MapRow {
  const risky = identity.alikeWith.filter((number) => {
    const other = map.outputs.find((one) => one.number === number)!
    return !isSameEntry(own, other)
  })
  const measured = risky.length > 0 ? `${entry.number} or ${listed(risky)}` : `${entry.number} ${entry.label}`
  if (risky.length > 0) {
    const why = `It is alike with ${listed(risky)} by what the map says: only a lead that is moved tells them apart.`
    return say('identity', 'unsure', `${own.number} ${own.label}`, measured, why)
  }
  const why = `Its sides, band and level are those of ${entry.number} ${entry.label}: it is held against that.`
  return say('identity', entry === own ? 'pass' : 'fail', `${own.number} ${own.label}`, measured, why)
}

/** Entries between which a mix-up would change nothing beyond the map's own tolerances. */
function isSameEntry(a: MapOutput, b: MapOutput): boolean {
  const corner = (x: MapOutput['low'], y: MapOutput['low']): boolean =>
    x && y ? 100 * Math.abs(Math.log(x.value / y.value)) <= x.tolerance : x === y
  return (
    Math.abs(a.left - b.left) <= a.share.tolerance &&
    Math.abs(a.right - b.right) <= a.share.tolerance &&
    corner(a.low, b.low) &&
    corner(a.high, b.high) &&
    a.fader === b.fader &&
    Math.abs(a.levelDbv.value - b.levelDbv.value) <= a.levelDbv.tolerance
  )
}

function sidesRow(output: BlindOutput, entry: MapOutput, say: Say): MapRow {
  const words = (left: number, right: number): string =>
    right === 0 ? 'left alone' : left === 0 ? 'right alone' : `left ${plain(left, 2)}, right ${plain(right, 2)}`
  const { tolerance } = entry.share
  const verdict = worst(
    [output.leftGain - entry.left, output.rightGain - entry.right].map((difference) =>
      held(difference, output.gainU, { min: -tolerance, max: tolerance }),
    ),
  )
  const why = verdict === 'fail' ? 'It hears other sides, or other shares of them.' : WITHIN_U
  return say('sides', verdict, words(entry.left, entry.right), words(output.leftGain, output.rightGain), why)
}

const WITHIN_U = 'The tolerance ends within the uncertainty of the reading.'

function levelRow(output: BlindOutput, entry: MapOutput, offsetDb: number, say: Say): MapRow {
  const level = blindLevel(output, entry.referenceHz)
  const { value, tolerance } = entry.levelDbv
  const differenceDb = level.value - offsetDb - value
  const verdict = held(differenceDb, level.u, { min: -tolerance, max: tolerance })
  const volts = (levelDbv: number): string => inVolts(10 ** (levelDbv / 20))
  return say(
    'level',
    verdict,
    `${volts(value)} ± ${plain(tolerance, 1)} dB at ${inHz(entry.referenceHz)}`,
    `${volts(level.value)} (${inDb(differenceDb)})`,
    verdict === 'fail'
      ? `It is ${inDb(differenceDb)} from the map${offsetDb === 0 ? '' : ' beyond what all are off together'}.`
      : `${WITHIN_U} ± ${plain(level.u, 1)} dB: calibrate the rig.`,
  )
}

function edgeRow(side: 'low' | 'high', output: BlindOutput, of: MapOutput, say: Say): MapRow {
  const [edge, entry] = [output[side], of[side]]
  const hz = edge && namedIn(edge, side, of.shape)
  const words = (cornerHz: number | null, slope: number | null): string =>
    cornerHz === null ? 'no edge' : `${inHz(cornerHz)}${slope === null ? '' : `, ${plain(slope, 0)} dB an octave`}`
  const slopes = [edge?.slopeDbPerOctave ?? null, entry?.slopeDbPerOctave ?? null] as const
  const shown = [words(entry?.value ?? null, slopes[1]), words(hz, slopes[0])] as const
  const quantity = `${side} edge` as const
  if (entry === null || edge === null || hz === null) {
    const verdict = entry === null && edge === null ? 'pass' : 'fail'
    return say(quantity, verdict, ...shown, 'Its band ends elsewhere than the map says.')
  }
  const { tolerance } = entry
  const corner = held(100 * Math.log(hz / entry.value), (100 * edge.u) / edge.hz, { min: -tolerance, max: tolerance })
  const isSteepAlike = slopes[0] === null || slopes[1] === null || Math.abs(slopes[0] - slopes[1]) < SLOPE_DB
  const verdict = worst([corner, isSteepAlike ? 'pass' : 'fail'])
  const why =
    corner === 'fail' ? `It may be off by ${plain(tolerance, 1)} %.` : isSteepAlike ? WITHIN_U : 'It falls otherwise.'
  return say(quantity, verdict, ...shown, why)
}

function polarityRow(output: BlindOutput, entry: MapOutput, common: 1 | -1, say: Say): MapRow {
  const words = (sign: number | null): string => (sign === null ? 'not settled' : sign > 0 ? 'normal' : 'inverted')
  const sign = output.sign === null ? null : output.sign * common
  const verdict: Verdict =
    sign === null || entry.polarity === null ? 'unsure' : sign === entry.polarity ? 'pass' : 'fail'
  const why =
    verdict === 'fail'
      ? 'Against the other outputs it is turned.'
      : entry.polarity === null
        ? 'The map does not know it.'
        : 'Its phase fits no sign well.'
  return say('polarity', verdict, words(entry.polarity), words(sign), why)
}

function faderRows({ faderDropDb }: BlindOutput, { fader, faderFrom }: MapOutput, say: Say): MapRow[] {
  if (faderDropDb === null || faderFrom === 'not measured') return []
  const isRear = faderDropDb > FADER_DROP_DB
  const measured = `${inDb(-faderDropDb)} with the fader to the front`
  return [
    say(
      'fader',
      isRear === (fader === 'rear') ? 'pass' : 'fail',
      fader === 'rear' ? 'rear' : 'not rear',
      measured,
      'It belongs to the other end of the fader.',
    ),
  ]
}
