/** What is wrong with the noise of an output: a hum, a whine, or hiss; one that accounts for the others is said alone. */
import type { Job } from '../job/job.js'
import type { OutputMeasures } from '../measure/outputs.js'
import { inDbv, inHz } from '../units/words.js'
import { verdictOf } from './judged.js'
import type { Check, Finding } from './parts.js'

export function noiseFindings(measures: OutputMeasures, checks: readonly Check[], job: Job, name: string): Finding[] {
  const outputs = [measures.lead.outputNumber]
  const { limits } = job
  const [hum, noise, weighted] = ['hum', 'noise', 'noise A'].map((check) => verdictOf(checks, check))
  const humFinding: Finding | null =
    hum === 'pass'
      ? null
      : {
          kind: 'humming',
          verdict: hum,
          outputs,
          title: `${name} hums`,
          because: `Mains multiples stand at ${inDbv(measures.humDbv.value)}; limit ${inDbv(limits.humDbvMax)}.`,
          next: 'Unplug the charger and the capture computer from the mains and take it again: if the hum goes, it was a ground loop of the bench. If not, check the grounds of interface and amplifier.',
        }
  if (noise === 'pass' && weighted === 'pass') return humFinding ? [humFinding] : []
  const line = measures.noiseLines.find(({ kind }) => kind !== 'mains series')
  const lineDb = line?.levelDbv ?? Number.NEGATIVE_INFINITY
  // Where the noise would be within its limits without the hum, hum is the cause and noise is not another one.
  const { unweighted: restDbv, aWeighted: restADbv } = measures.noiseButHumDbv
  if (humFinding && restDbv < limits.noiseDbvMax && restADbv < limits.noiseDbvAMax) return [humFinding]
  const isLine = lineDb > measures.noiseDbv.value - 3
  const noiseFinding: Finding = {
    kind: 'noisy',
    verdict: noise === 'fail' || weighted === 'fail' ? 'fail' : 'unsure',
    outputs,
    title: isLine ? `${name} whines at ${inHz(line!.freqHz)}` : `${name} is noisy`,
    because: `Noise ${inDbv(measures.noiseDbv.value)}, A-weighted ${inDbv(measures.noiseADbv.value)}; limits ${inDbv(limits.noiseDbvMax)} and ${inDbv(limits.noiseDbvAMax)}.${isLine ? ` One line holds most of it: ${inDbv(lineDb)}.` : ''}`,
    next: isLine
      ? 'Switch chargers, lights and blowers off one by one; with the engine running, suspect the alternator and the grounds.'
      : 'Check the grounds, keep line leads away from power leads, and turn the head unit up and the gains down.',
  }
  return humFinding ? [humFinding, noiseFinding] : [noiseFinding]
}
