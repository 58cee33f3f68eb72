/**
 * Two runs held against each other, figure by figure.
 *
 * A figure has changed only where the difference is more than both uncertainties together: sqrt(Ua² + Ub²), k = 2, both
 * taken as independent (JCGM 100:2008, 5.1.2). Where two runs share a rig that is too careful, never too bold.
 */
import type { Figure } from '../verdict/parts.js'
import type { Result } from '../verdict/result.js'
import { figuresOf, type PlacedFigure } from './figures.js'

export type Change =
  | 'changed'
  | 'same'
  /** An uncertainty is not known, or both are bounds. */
  | 'not known'
  /** In one of the runs only, or nothing could be read in one of them. */
  | 'only in a'
  | 'only in b'
  /** Another unit, or read at another frequency where that is the measurement's own choice. */
  | 'not comparable'

export interface ComparedFigure {
  readonly at: Omit<PlacedFigure, 'figure' | 'key'>
  readonly a: Figure | null
  readonly b: Figure | null
  readonly change: Change
  /** b less a, in the figure's unit; null where it cannot be told. */
  readonly difference: number | null
  /** Expanded uncertainty of the difference. */
  readonly u: number | null
  readonly isOtherMethod: boolean
}

export function compareResults(a: Result, b: Result): ComparedFigure[] {
  const ofB = new Map(figuresOf(b).map((placed) => [placed.key, placed]))
  const ofA = figuresOf(a)
  const keys = new Set(ofA.map(({ key }) => key))
  return [
    ...ofA.map((placed) => compared(placed, placed.figure, ofB.get(placed.key)?.figure ?? null)),
    ...[...ofB.values()].filter(({ key }) => !keys.has(key)).map((placed) => compared(placed, null, placed.figure)),
  ]
}

function compared(
  { figure: _figure, key: _key, ...at }: PlacedFigure,
  a: Figure | null,
  b: Figure | null,
): ComparedFigure {
  const isOtherMethod = a !== null && b !== null && a.method !== b.method
  return { at, a, b, isOtherMethod, ...changeOf(a, b) }
}

/** Its value is a sign or a count: it is the same or it is not. */
const isExact = (quantity: string): boolean => quantity === 'polarity'

/** Levels that are read at a frequency of the map; others are read where they are worst. */
const AT_REFERENCE: ReadonlySet<string> = new Set(['level'])
const FREQ_RATIO_MAX = 1.01

export function changeOf(a: Figure | null, b: Figure | null): Pick<ComparedFigure, 'change' | 'difference' | 'u'> {
  const without = (change: Change): Pick<ComparedFigure, 'change' | 'difference' | 'u'> => ({
    change,
    difference: null,
    u: null,
  })
  const [valueA, valueB] = [a?.value ?? null, b?.value ?? null]
  if (!a || valueA === null) return without(valueB === null ? 'not known' : 'only in b')
  if (!b || valueB === null) return without('only in a')
  if (a.unit !== b.unit || isReadElsewhere(a, b)) return without('not comparable')
  const difference = valueB - valueA
  if (isExact(a.quantity)) return { change: difference === 0 ? 'same' : 'changed', difference, u: null }
  const u = a.u === null || b.u === null ? null : Math.hypot(a.u, b.u)
  if (u === null) return { change: difference === 0 ? 'same' : 'not known', difference, u }
  // What a bound allows is no change: only a value beyond it is one.
  const mayRise = !a.isAtLeast && !b.isAtMost
  const mayFall = !a.isAtMost && !b.isAtLeast
  const isBeyond = difference > 0 ? mayRise && difference > u : mayFall && -difference > u
  if (isBeyond) return { change: 'changed', difference, u }
  const isBound = a.isAtMost || a.isAtLeast || b.isAtMost || b.isAtLeast
  return { change: isBound && difference !== 0 ? 'not known' : 'same', difference, u }
}

const isReadElsewhere = (a: Figure, b: Figure): boolean =>
  AT_REFERENCE.has(a.quantity) &&
  a.freqHz !== null &&
  b.freqHz !== null &&
  Math.max(a.freqHz / b.freqHz, b.freqHz / a.freqHz) > FREQ_RATIO_MAX
