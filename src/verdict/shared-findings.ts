/** The same finding on nearly all outputs is one finding: the head unit, the source or the vehicle is to blame. */
import { listed } from '../units/words.js'
import type { Finding } from './parts.js'

const TOGETHER: Partial<Record<Finding['kind'], { readonly title: string; readonly next: string }>> = {
  limited: {
    title: 'Nearly all outputs are held back by a limiter or a level control',
    next: 'Switch limiting, level control and speed-dependent volume off in the head unit, turn it down a few steps, and take it again.',
  },
  loudness: {
    title: 'The response changes with the volume',
    next: 'Switch loudness off in the head unit; if it cannot be, tune at the volume that is used most.',
  },
  'time-variant': {
    title: 'Nearly all outputs are processed in a way that changes with time',
    next: 'Switch surround, widening and similar effects off in the head unit, then take it again.',
  },
  whining: {
    title: 'Nearly all outputs whine with the engine running',
    next: 'Check that interface, head unit and amplifier share one ground; then the alternator and its ground strap.',
  },
}

const SHARE = 0.75
const OUTPUTS_MIN = 3

export const nearlyAll = (count: number, aliveCount: number): boolean =>
  count >= Math.max(OUTPUTS_MIN, SHARE * aliveCount)

/**
 * @param aliveCount outputs that could have it
 * @returns the findings, those of one kind that nearly all outputs have replaced by one
 */
export function shared(findings: readonly Finding[], aliveCount: number): Finding[] {
  let rest = [...findings]
  for (const [kind, { title, next }] of Object.entries(TOGETHER)) {
    const same = rest.filter((one) => one.kind === kind)
    const outputs = [...new Set(same.flatMap((one) => one.outputs))].sort((a, b) => a - b)
    if (!nearlyAll(outputs.length, aliveCount)) continue
    const first = same.find(({ verdict }) => verdict === 'fail') ?? same[0]
    const verdict = first.verdict
    rest = rest.filter((one) => one.kind !== kind)
    rest.push({
      kind: first.kind,
      verdict,
      outputs,
      title,
      because: `Outputs ${listed(outputs)} show the same. On output ${first.outputs[0]}: ${first.because}`,
      next,
    })
  }
  return rest
}
