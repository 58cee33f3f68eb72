/** A meter's line link with a script: what is sent and what comes back, in order. A step left over fails the test. */
import { expect } from 'vitest'
import type { LineLink } from '../../src/instruments/line-link.js'

/** Question and answer; null is silence, no answer at all: a text that has none. */
export type Step = readonly [question: string, answer?: string | null]

export function scripted(...steps: readonly Step[]): { link: LineLink; left: () => number } {
  const rest = [...steps]
  return {
    left: () => rest.length,
    link: {
      where: 'PORT',
      next: async (question, accept) => {
        const step = rest.shift()
        expect(question).toBe(`${step?.[0]}\n`)
        return step?.[1] == null ? null : (accept(step[1]) ?? null)
      },
      send: async (text) => {
        const step = rest.shift()
        expect(step).toEqual([text.trimEnd()])
      },
      close: async () => {},
    },
  }
}
