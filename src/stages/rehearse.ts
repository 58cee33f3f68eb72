/**
 * Goes through a measurement on an invented take before the real one is played, so that afterwards the code of all threads is
 * compiled and their tables are made.
 */
import type { Job } from '../job/job.js'
import { locate } from '../measure/locate.js'
import { measureOutputs } from '../measure/outputs.js'
import { practiceTake } from '../measure/practice.js'
import type { PatchSpec, Rig } from '../rig/rig.js'
import { judge } from '../verdict/judge.js'
import type { Analysts } from './analysts.js'

/** Code that is compiled in the midst of its first runs is compiled again; after so many inputs little is left to do. */
const INPUTS_PER_WORKER = 4

export async function rehearse(
  { job, rig, patches }: { job: Job; rig: Rig; patches: readonly PatchSpec[] },
  analysts: Analysts,
  signal: AbortSignal,
): Promise<void> {
  if (analysts.workerCount === 0) return
  const take = practiceTake(rig.capture.sampleRateHz)
  const located = locate(take, 'practice take')
  const channels = Array.from({ length: INPUTS_PER_WORKER * analysts.workerCount }, () => take.channels[0])
  const [analysis] = await analysts.analyse(channels, located, 'reference', signal)
  const leads = patches.flatMap(({ name, leads }) =>
    leads.map(({ inputNumber, outputNumber }) => ({
      outputNumber,
      patchName: name,
      inputNumber,
      input: rig.inputs[inputNumber - 1],
      captureBits: 24,
      analysis,
      others: new Map(),
    })),
  )
  judge(job, measureOutputs(job, leads), [], [])
}
