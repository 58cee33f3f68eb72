/** Which output is on which input in which patch: the rig's own plan held against the job, or one made from the map. */
import type { Job } from '../job/job.js'
import type { PatchSpec, Rig } from '../rig/rig.js'
import { StopError } from '../units/stop.js'
import { shareOut } from './hook-up-plan.js'

/**
 * The patches of a run, in the order in which they are taken. Together they hold every output of the job exactly once.
 *
 * Without patches in the rig, outputs fill the inputs as often as it takes: in the channel map's order, but for pairs and
 * sums, which stay in one patch where that takes no more patches.
 *
 * @throws StopError when the rig's patches leave an output out, hold one twice, or hold one that the job does not have
 */
export function planPatches(job: Job, rig: Rig): readonly PatchSpec[] {
  return rig.patches === null ? fillInputs(job, rig) : checkedPatches(job, rig, rig.patches)
}

function fillInputs(job: Job, rig: Rig): readonly PatchSpec[] {
  const inputCount = rig.inputs.length
  if (inputCount === 0) throw new RangeError('planPatches: a rig without inputs')
  return shareOut(job, inputCount).map((places, index) => ({
    name: `patch ${index + 1}`,
    leads: places.map((place, k) => ({ inputNumber: k + 1, outputNumber: job.outputs[place].number })),
  }))
}

function checkedPatches(job: Job, rig: Rig, patches: readonly PatchSpec[]): readonly PatchSpec[] {
  const where = `rig "${rig.name}" with job "${job.name}"`
  const known = new Set(job.outputs.map((output) => output.number))
  const patchOf = new Map<number, string>()
  for (const { name, leads } of patches) {
    const inputs = new Set<number>()
    for (const { inputNumber, outputNumber } of leads) {
      if (inputNumber < 1 || inputNumber > rig.inputs.length || inputs.has(inputNumber)) {
        const what = `patch "${name}" puts a lead on input ${inputNumber}, which is taken or not there`
        throw new StopError(what, where, `Use each of the inputs 1 to ${rig.inputs.length} once in a patch.`)
      }
      inputs.add(inputNumber)
      if (!known.has(outputNumber)) {
        const what = `patch "${name}" has a lead to output ${outputNumber}, which the job does not have`
        throw new StopError(what, where, `Use the outputs of the job in the rig's patches: ${[...known].join(', ')}.`)
      }
      const earlier = patchOf.get(outputNumber)
      if (earlier !== undefined) {
        const what = `output ${outputNumber} is in patch "${earlier}" and again in patch "${name}"`
        throw new StopError(what, where, "Keep one of the two leads in the rig's patches.")
      }
      patchOf.set(outputNumber, name)
    }
  }
  const left = [...known].filter((number) => !patchOf.has(number))
  if (left.length > 0) {
    const what = `no patch has output${left.length > 1 ? 's' : ''} ${left.join(', ')}`
    throw new StopError(what, where, "Add the missing leads to the rig's patches, or leave patches out.")
  }
  return patches
}
