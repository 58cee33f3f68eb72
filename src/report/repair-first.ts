/** Outputs that nothing may be typed in for yet: numbers read of a fault would only tune the fault in. */
import type { Finding } from '../verdict/parts.js'
import type { Result } from '../verdict/result.js'
import { allFindings } from './findings-part.js'

/** What is repaired, not tuned away. */
const KINDS: ReadonlySet<Finding['kind']> = new Set([
  'dead',
  'swapped',
  'alike',
  'inverted',
  'summed',
  'leaking',
  'late',
  'distorted',
  'muting',
  'clipped capture',
  'pin',
])

/** @returns for each output that has to be repaired first, the title of what is found */
export function repairsOf(result: Result): ReadonlyMap<number, string> {
  const repairs = new Map<number, string>()
  for (const { kind, verdict, outputs, title } of allFindings(result)) {
    if (verdict !== 'fail' || !KINDS.has(kind)) continue
    for (const number of outputs) if (!repairs.has(number)) repairs.set(number, title)
  }
  return repairs
}
