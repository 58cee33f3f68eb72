/** A run's request without instruments, notes or checks, for tests that care for the takes and the findings. */
import type { Job } from '../../src/job/job.js'
import type { PatchSpec, Rig } from '../../src/rig/rig.js'
import type { VerifyRequest } from '../../src/stages/verify.js'

export const bareRequest = (job: Job, rig: Rig, patches: readonly PatchSpec[]): VerifyRequest => ({
  job,
  rig,
  patches,
  startedAt: '2026-04-01T10:00:00Z',
  program: 'test',
  isSimulated: true,
  isAhead: false,
  retestOf: null,
  says: { capture: '', player: '', meter: () => null },
  rigNotes: [],
  rigChecks: [],
  rigFindings: [],
})
