/** The parts of a bench that a test of sound has no use for: hands that do nothing, a clock that stands. */
import type { Bench } from '../../src/rig/roles.js'

export const STILL: Pick<Bench, 'act' | 'clock'> = {
  act: async () => {},
  clock: { nowS: () => 0, pause: async () => {} },
}
