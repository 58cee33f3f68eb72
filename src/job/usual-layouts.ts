/**
 * What outputs usually feed, by how many there are: 2 to 16. Common practice, no source: a start for a new job, which the
 * interface's own sheet corrects.
 */
import type { BandShape } from './job.js'

/** An output of which no more is said than a channel map needs. */
export interface PlainOutput {
  readonly label: string
  readonly left: number
  readonly right: number
  /** As a job's band names them. */
  readonly lowHz: number | null
  readonly highHz: number | null
  readonly shape: BandShape
  readonly fader: 'front' | 'rear' | 'none'
  readonly pair: string | null
}

type Band = Pick<PlainOutput, 'lowHz' | 'highHz'> & { readonly shape?: BandShape }

const FULL: Band = { lowHz: null, highHz: null }
/** Factory crossovers between tweeter and woofer, and of three ways. Common practice, no source. */
const SPLIT_HZ = 3000
const THREE_WAY_HZ = [350, 3500] as const
const split = (lowHz: number | null, highHz: number | null): Band => ({ lowHz, highHz, shape: 'linkwitz_riley' })
const SUBWOOFER: Band = { lowHz: null, highHz: 80 }

const sided = (place: string, fader: PlainOutput['fader'], way = '', band = FULL): PlainOutput[] =>
  (['left', 'right'] as const).map((side) => ({
    label: [place, side, way].filter(Boolean).join(' '),
    left: side === 'left' ? 1 : 0,
    right: side === 'right' ? 1 : 0,
    shape: 'butterworth',
    ...band,
    fader,
    pair: [place, way].filter(Boolean).join(' '),
  }))
const mono = (label: string, fader: PlainOutput['fader'], band: Band): PlainOutput[] => [
  { label, left: 0.5, right: 0.5, shape: 'butterworth', ...band, fader, pair: null },
]

const FRONTS = sided('front', 'front')
const SPLIT_FRONTS = [
  ...sided('front', 'front', 'high', split(SPLIT_HZ, null)),
  ...sided('front', 'front', 'low', split(null, SPLIT_HZ)),
]
const THREE_WAY_FRONTS = [
  ...sided('front', 'front', 'high', split(THREE_WAY_HZ[1], null)),
  ...sided('front', 'front', 'mid', split(...THREE_WAY_HZ)),
  ...sided('front', 'front', 'low', split(null, THREE_WAY_HZ[0])),
]
const REARS = sided('rear', 'rear')
const SPLIT_REARS = [
  ...sided('rear', 'rear', 'high', split(SPLIT_HZ, null)),
  ...sided('rear', 'rear', 'low', split(null, SPLIT_HZ)),
]
const SIDES = sided('side', 'rear')
const CENTRE = mono('centre', 'front', { lowHz: 100, highHz: null })
const FILL = mono('rear fill', 'rear', { lowHz: 150, highHz: 7000 })
const MONO_SUBWOOFER = mono('subwoofer', 'none', SUBWOOFER)
const SUBWOOFERS = sided('subwoofer', 'none', '', SUBWOOFER)

const LAYOUTS: Readonly<Record<number, { readonly says: string; readonly outputs: readonly PlainOutput[] }>> = {
  2: { says: 'fronts', outputs: FRONTS },
  3: { says: 'fronts, one subwoofer', outputs: [...FRONTS, ...MONO_SUBWOOFER] },
  4: { says: 'fronts, rears', outputs: [...FRONTS, ...REARS] },
  5: { says: 'fronts, rears, one subwoofer', outputs: [...FRONTS, ...REARS, ...MONO_SUBWOOFER] },
  6: { says: 'band-split fronts, rears', outputs: [...SPLIT_FRONTS, ...REARS] },
  7: { says: 'band-split fronts, rears, one subwoofer', outputs: [...SPLIT_FRONTS, ...REARS, ...MONO_SUBWOOFER] },
  8: {
    says: 'band-split fronts, rears, centre, one subwoofer',
    outputs: [...SPLIT_FRONTS, ...REARS, ...CENTRE, ...MONO_SUBWOOFER],
  },
  9: {
    says: 'band-split fronts, rears, centre, two subwoofers',
    outputs: [...SPLIT_FRONTS, ...REARS, ...CENTRE, ...SUBWOOFERS],
  },
  10: {
    says: 'band-split fronts, rears, centre, rear fill, two subwoofers',
    outputs: [...SPLIT_FRONTS, ...REARS, ...CENTRE, ...FILL, ...SUBWOOFERS],
  },
  11: {
    says: 'band-split fronts and rears, centre, two subwoofers',
    outputs: [...SPLIT_FRONTS, ...SPLIT_REARS, ...CENTRE, ...SUBWOOFERS],
  },
  12: {
    says: 'band-split fronts and rears, centre, rear fill, two subwoofers',
    outputs: [...SPLIT_FRONTS, ...SPLIT_REARS, ...CENTRE, ...FILL, ...SUBWOOFERS],
  },
  13: {
    says: 'three-way fronts, band-split rears, centre, two subwoofers',
    outputs: [...THREE_WAY_FRONTS, ...SPLIT_REARS, ...CENTRE, ...SUBWOOFERS],
  },
  14: {
    says: 'three-way fronts, band-split rears, centre, rear fill, two subwoofers',
    outputs: [...THREE_WAY_FRONTS, ...SPLIT_REARS, ...CENTRE, ...FILL, ...SUBWOOFERS],
  },
  15: {
    says: 'three-way fronts, band-split rears, sides, centre, two subwoofers',
    outputs: [...THREE_WAY_FRONTS, ...SPLIT_REARS, ...SIDES, ...CENTRE, ...SUBWOOFERS],
  },
  16: {
    says: 'three-way fronts, band-split rears, sides, centre, rear fill, two subwoofers',
    outputs: [...THREE_WAY_FRONTS, ...SPLIT_REARS, ...SIDES, ...CENTRE, ...FILL, ...SUBWOOFERS],
  },
}

/** @returns undefined where no layout is usual */
export const usualLayout = (count: number): { says: string; outputs: readonly PlainOutput[] } | undefined =>
  LAYOUTS[count]

/** Outputs that are one speaker line together: those of one place and side that carry different bands; numbers from 1. */
export function sumsOf(
  outputs: readonly Pick<PlainOutput, 'label' | 'left' | 'right' | 'shape'>[],
): { name: string; outputs: number[] }[] {
  const byPlace = new Map<string, number[]>()
  outputs.forEach(({ label, shape }, k) => {
    const place = label.replace(/ (high|mid|low)$/, '')
    if (place !== label && shape === 'linkwitz_riley') byPlace.set(place, [...(byPlace.get(place) ?? []), k + 1])
  })
  return [...byPlace].flatMap(([name, numbers]) => (numbers.length > 1 ? [{ name, outputs: numbers }] : []))
}
