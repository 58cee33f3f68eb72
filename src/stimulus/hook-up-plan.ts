/**
 * The fewest hook-ups that take all outputs, and what of them should stand in one: delays are known only within a hook-up,
 * and so are electrical sums.
 *
 * Each output is taken once, so each hook-up costs as many lead moves as it has leads, however they are shared out: the
 * fewest hook-ups and the fewest moves are the same plans.
 */
import type { Job } from '../job/job.js'

/** Outputs that gain by standing in one hook-up, all of them. */
interface Bond {
  readonly places: readonly number[]
  readonly weight: number
}

/** A broken sum can't be computed at all; of a broken pair only the delay between the two is lost. */
const SUM_WEIGHT = 3
const PAIR_WEIGHT = 2
/** Each output of a bond that is with the first of it: so that a bond too large for the inputs is kept together in part. */
const PART_WEIGHT = 0.1

/**
 * Shares a job's outputs out.
 *
 * @returns places in the job's list, ascending in each hook-up, hook-ups by their first place; never more of them than
 * outputs over inputs, rounded up
 */
export function shareOut(job: Job, inputCount: number): readonly (readonly number[])[] {
  const count = job.outputs.length
  const hookUpCount = Math.ceil(count / inputCount)
  const bonds = bondsOf(job)
  const inOrder = Array.from({ length: count }, (_, place) => Math.floor(place / inputCount))
  const together = byBonds(bonds, count, inputCount, hookUpCount)
  const shared = [inOrder, together]
    .map((start) => improved(start, bonds, inputCount, hookUpCount))
    .reduce((a, b) => (worth(b, bonds) > worth(a, bonds) + 1e-9 ? b : a))
  return Array.from({ length: hookUpCount }, (_, index) =>
    shared.flatMap((hookUp, place) => (hookUp === index ? [place] : [])),
  ).sort((a, b) => a[0] - b[0])
}

function bondsOf({ outputs, sums }: Job): Bond[] {
  const placeOf = (number: number): number => outputs.findIndex((output) => output.number === number)
  const pairs = groupedBy(
    outputs.filter(({ pair }) => pair !== null),
    ({ pair }) => pair,
  )
  return [
    ...sums.map((sum) => ({ places: sum.outputs.map(placeOf), weight: SUM_WEIGHT })),
    ...pairs.map((pair) => ({ places: pair.map(({ number }) => placeOf(number)), weight: PAIR_WEIGHT })),
  ]
}

function groupedBy<T, K>(items: readonly T[], keyOf: (item: T) => K): T[][] {
  const groups = new Map<K, T[]>()
  for (const item of items) groups.set(keyOf(item), [...(groups.get(keyOf(item)) ?? []), item])
  return [...groups.values()]
}

function worth(hookUpOf: readonly number[], bonds: readonly Bond[]): number {
  let sum = 0
  for (const { places, weight } of bonds) {
    const withFirst = places.filter((place) => hookUpOf[place] === hookUpOf[places[0]]).length
    sum += (withFirst === places.length ? weight : 0) + PART_WEIGHT * (withFirst - 1)
  }
  return sum
}

/** Bonds kept one after the other, sums first, each where all that has to stand together still fits. */
function byBonds(bonds: readonly Bond[], count: number, inputCount: number, hookUpCount: number): number[] {
  let groups = Array.from({ length: count }, (_, place) => [place])
  for (const { places } of bonds) {
    const isTouched = (group: readonly number[]): boolean => group.some((place) => places.includes(place))
    const joined = [groups.filter(isTouched).flat(), ...groups.filter((group) => !isTouched(group))]
    if (packed(joined, inputCount, hookUpCount)) groups = joined
  }
  const hookUpOf = new Array<number>(count).fill(0)
  for (const [index, places] of packed(groups, inputCount, hookUpCount)!.entries()) {
    for (const place of places) hookUpOf[place] = index
  }
  return hookUpOf
}

/** Groups in hook-ups, largest first, each in the fullest one that has room; null where one of them finds none. */
function packed(groups: readonly number[][], inputCount: number, hookUpCount: number): number[][] | null {
  const hookUps = Array.from({ length: hookUpCount }, (): number[] => [])
  for (const group of [...groups].sort((a, b) => b.length - a.length)) {
    const fitting = hookUps.filter((hookUp) => hookUp.length + group.length <= inputCount)
    if (fitting.length === 0) return null
    fitting.reduce((a, b) => (b.length > a.length ? b : a)).push(...group)
  }
  return hookUps
}

/** Moves and exchanges, one or two at a time, as long as they are worth something. */
function improved(
  start: readonly number[],
  bonds: readonly Bond[],
  inputCount: number,
  hookUpCount: number,
): readonly number[] {
  let best = start
  let most = worth(best, bonds)
  for (let isBetter = true; isBetter; ) {
    isBetter = false
    for (const next of neighbours(best, inputCount, hookUpCount)) {
      const value = worth(next, bonds)
      if (value <= most + 1e-9) continue
      ;[best, most, isBetter] = [next, value, true]
      break
    }
  }
  return best
}

/** Every sharing that differs by one output moved, by two exchanged, or by three moved round. */
function* neighbours(hookUpOf: readonly number[], inputCount: number, hookUpCount: number): Generator<number[]> {
  const count = hookUpOf.length
  for (let a = 0; a < count; a++) {
    for (let to = 0; to < hookUpCount; to++) {
      if (hookUpOf.filter((hookUp) => hookUp === to).length < inputCount) yield hookUpOf.with(a, to)
    }
    for (let b = a + 1; b < count; b++) {
      if (hookUpOf[a] !== hookUpOf[b]) yield hookUpOf.with(a, hookUpOf[b]).with(b, hookUpOf[a])
    }
  }
  for (let a = 0; a < count; a++) {
    for (let b = 0; b < count; b++) {
      for (let c = 0; c < count; c++) {
        const [x, y, z] = [hookUpOf[a], hookUpOf[b], hookUpOf[c]]
        if (x !== y && y !== z && x !== z) yield hookUpOf.with(a, y).with(b, z).with(c, x)
      }
    }
  }
}

export interface LeadStep {
  readonly inputNumber: number
  readonly outputNumber: number
  /** It is on this output already. */
  readonly stays: boolean
}

/** What is on each input: outputs by input number. Leads that a hook-up does not use stay where they are. */
export type LeadsOn = ReadonlyMap<number, number>

/** A hook-up as a person does it: leads that move first, then those that stay, each by input. */
export function leadSteps(leads: readonly Omit<LeadStep, 'stays'>[], before: LeadsOn): LeadStep[] {
  const steps = [...leadsAfter(leads, before)].map(([inputNumber, outputNumber]) => ({
    inputNumber,
    outputNumber,
    stays: before.get(inputNumber) === outputNumber,
  }))
  return steps.sort((a, b) => Number(a.stays) - Number(b.stays) || a.inputNumber - b.inputNumber)
}

/** A lead that stays on an output which another one needs comes off. */
export function leadsAfter(leads: readonly Omit<LeadStep, 'stays'>[], before: LeadsOn): LeadsOn {
  const needed = new Set(leads.map(({ outputNumber }) => outputNumber))
  return new Map([
    ...[...before].filter(([, outputNumber]) => !needed.has(outputNumber)),
    ...leads.map(({ inputNumber, outputNumber }): [number, number] => [inputNumber, outputNumber]),
  ])
}
