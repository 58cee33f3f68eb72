import { expect, test } from 'vitest'
import type { ChimeSpec } from '../../src/job/chimes.js'
import { type ChimeLevel, quietFinding } from '../../src/verdict/chime-checks.js'

const chime = (name: string, levelDbv: number) => ({ spec: { name, outputs: [1] } as unknown as ChimeSpec, levelDbv })

const quietFindings = (all: readonly ChimeLevel[]) => all.flatMap((one) => quietFinding(one, all) ?? [])

test('a chime far under the middle of the others is unsure, and only that one', () => {
  const all = [chime('turn signal', -20), chime('seat belt', -24), chime('telephone call', -70), chime('lane', -18)]
  expect(quietFindings(all).map(({ title, verdict }) => [title, verdict])).toEqual([
    ['telephone call is much quieter than the others', 'unsure'],
  ])
})

test('with fewer than two others nothing can be said', () => {
  expect(quietFindings([chime('turn signal', -20), chime('telephone call', -70)])).toEqual([])
})
