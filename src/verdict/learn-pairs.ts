/** Which outputs of a map belong together as left and right: as the job says, by their labels, or by what they carry. */
import type { MapOutput, OutputLabel } from '../job/platform.js'

type Unpaired = Omit<MapOutput, 'pair'>

/** Of one pair levels differ by less. Common practice, no source. */
const LEVEL_DB = 1
/** Corners of one pair lie nearer than this. */
const CORNER_RATIO = 1.06

/** @returns name of the pair by output number */
export function pairsOf(outputs: readonly Unpaired[], labels: readonly OutputLabel[]): Map<number, string> {
  const pairs = new Map<number, string>()
  const given = labels.flatMap(({ number, pair }) => (pair === null ? [] : [{ number, pair }]))
  if (given.length > 0) return new Map(given.map(({ number, pair }) => [number, pair]))
  for (const one of outputs) {
    if (pairs.has(one.number)) continue
    const name = withoutSide(one.label)
    const free = outputs.filter((other) => other !== one && !pairs.has(other.number) && isMirrored(one, other))
    // Of several that fit, one whose label says so, else the next one: harnesses number left and right in turn.
    const partner = free.find(({ label }) => name !== null && withoutSide(label) === name) ?? nextOf(one, free)
    if (!partner) continue
    const isNamed = name !== null && withoutSide(partner.label) === name && ![...pairs.values()].includes(name)
    const pair = isNamed ? name : `${one.number} and ${partner.number}`
    pairs.set(one.number, pair)
    pairs.set(partner.number, pair)
  }
  return pairs
}

const nextOf = (one: Unpaired, free: readonly Unpaired[]): Unpaired | undefined =>
  withoutSide(one.label) === null ? free.find(({ number }) => number === one.number + 1) : undefined

/** "front left high" without its side: "front high"; null where it names none. */
export function withoutSide(label: string): string | null {
  const rest = label.replace(/\b(left|right)\b/i, '')
  return rest === label ? null : rest.replace(/\s+/g, ' ').trim() || 'pair'
}

function isMirrored(a: Unpaired, b: Unpaired): boolean {
  const near = (x: { value: number } | null, y: { value: number } | null): boolean =>
    x && y ? Math.max(x.value / y.value, y.value / x.value) < CORNER_RATIO : x === y
  const isSided = Math.abs(a.left) !== Math.abs(a.right)
  return (
    isSided &&
    Math.abs(Math.abs(a.left) - Math.abs(b.right)) < 0.1 &&
    Math.abs(Math.abs(a.right) - Math.abs(b.left)) < 0.1 &&
    near(a.low, b.low) &&
    near(a.high, b.high) &&
    Math.abs(a.levelDbv.value - b.levelDbv.value) < LEVEL_DB
  )
}
