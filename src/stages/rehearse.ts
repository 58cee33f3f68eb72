/** Goes through a whole measurement on an invented take while there is time, so that the real one finds this thread warm. */
import type { Job } from '../job/job.js'
import { locate } from '../measure/locate.js'
import { measureOutputs } from '../measure/outputs.js'
import { practiceTake, practise } from '../measure/practice.js'
import type { PatchSpec, Rig } from '../rig/rig.js'
import { judge } from '../verdict/judge.js'

export function rehearse({ job, rig, patches }: { job: Job; rig: Rig; patches: readonly PatchSpec[] }): void {
  const take = practiceTake(rig.capture.sampleRateHz)
  const analyses = practise(take, locate(take, 'rehearsal'))
  const leads = patches.flatMap(({ name, leads }) =>
    leads.map(({ inputNumber, outputNumber }) => {
      const { leftGain, rightGain } = job.outputs.find(({ number }) => number === outputNumber)!
      return {
        outputNumber,
        patchName: name,
        inputNumber,
        input: rig.inputs[inputNumber - 1],
        captureBits: 24,
        analysis: analyses[Math.abs(leftGain) >= Math.abs(rightGain) ? 0 : 1],
        others: new Map(),
      }
    }),
  )
  judge(job, measureOutputs(job, leads), [], [])
}
