/** The main job: takes in, result out. Where the takes come from is the caller's affair. */
import type { Located } from '../measure/analysis.js'
import type { InputAnalysis } from '../measure/input-analysis.js'
import type { LeadData } from '../measure/lead.js'
import { locate } from '../measure/locate.js'
import { measureOutputs } from '../measure/outputs.js'
import type { PatchSpec, Rig } from '../rig/rig.js'
import type { Setting } from '../rig/roles.js'
import { type Audio, durationS } from '../units/audio.js'
import { StopError } from '../units/stop.js'
import { judge } from '../verdict/judge.js'
import type { Check, Finding } from '../verdict/parts.js'
import type { Result } from '../verdict/result.js'
import { Analysts } from './analysts.js'
import { frameOf, type RunFacts } from './frame.js'
import type { OnProgress } from './progress.js'
import { rehearse } from './rehearse.js'

/** One captured pass of the track, ready to be measured. */
export interface Take {
  readonly patchName: string
  readonly setting: Setting
  readonly audio: Audio
  readonly captureBits: number
  /** File name as it stands in the result. */
  readonly source: string
  /** Asked for after the measuring, while nothing else needs the disk. */
  readonly sha256: () => Promise<string>
  readonly faults: readonly string[]
  /** Told when there is no track in it that can be measured: it is not worth keeping. */
  readonly refuse?: (error: StopError) => Promise<void>
}

export interface VerifyRequest extends RunFacts {
  readonly patches: readonly PatchSpec[]
  /** The takes are still to be played: time to warm the analysis up, which it needs where a file is at hand at once. */
  readonly isAhead: boolean
  /** Filled while the takes come in: the meter's word. */
  readonly rigChecks: readonly Check[]
  readonly rigFindings: readonly Finding[]
}

export interface MeasuredTake {
  readonly take: Omit<Take, 'audio'>
  readonly located: Located
  readonly sampleRateHz: number
  readonly inputCount: number
  readonly lengthS: number
  /** By input number. */
  readonly analyses: ReadonlyMap<number, InputAnalysis>
}

/**
 * Measures takes as they come and judges them together.
 * @throws StopError when a take cannot be used
 */
export async function verify(
  request: VerifyRequest,
  takes: AsyncIterable<Take>,
  onProgress: OnProgress,
  signal: AbortSignal,
): Promise<Result> {
  const { job, patches } = request
  const measured: MeasuredTake[] = []
  const analysts = new Analysts(Math.max(...patches.map(({ leads }) => leads.length)))
  try {
    if (request.isAhead) await rehearse(request, analysts, signal)
    for await (const take of takes) {
      onProgress({ step: 'measuring', detail: take.patchName, doneS: null, totalS: null })
      measured.push(await measureTake(take, patches, analysts, signal))
    }
  } finally {
    await analysts.close()
  }
  signal.throwIfAborted()
  const leads = patches.flatMap((patch) => leadsOf(patch, measured, request.rig))
  const measures = measureOutputs(job, leads)
  const faults = measured.flatMap(({ take }) => take.faults.map((says) => faultFinding(take.patchName, says)))
  const judgement = judge(job, measures, request.rigChecks, [...request.rigFindings, ...faults])
  const checksums = await Promise.all(measured.map(({ take }) => take.sha256()))
  signal.throwIfAborted()
  return {
    ...frameOf(request),
    takes: measured.map(({ take, located, sampleRateHz, inputCount, lengthS }, k) => ({
      patch: take.patchName,
      setting: take.setting,
      source: take.source,
      sha256: checksums[k],
      sampleRateHz,
      inputCount,
      durationS: lengthS,
      trackStartS: located.startSample / sampleRateHz,
      clockOffsetPpm: located.clockOffsetPpm,
      matchPct: 100 * located.match,
      trackRevision: located.revision,
      trackCount: located.trackCount ?? 1,
      trackNumber: located.trackNumber ?? 1,
      clockDriftPpm: located.clockDriftPpm ?? 0,
      faults: [...take.faults],
    })),
    ...judgement,
  }
}

export async function measureTake(
  take: Take,
  patches: readonly PatchSpec[],
  analysts: Analysts,
  signal: AbortSignal,
): Promise<MeasuredTake> {
  const { audio, ...rest } = take
  const patch = patches.find(({ name }) => name === take.patchName)!
  const inputNumbers = patch.leads.map(({ inputNumber }) => inputNumber)
  const channels = inputNumbers.map((number) => audio.channels[number - 1])
  const { sampleRateHz } = audio
  const [lengthS, inputCount] = [durationS(audio), audio.channels.length]
  let located: Located
  let analyses: readonly InputAnalysis[]
  try {
    located = locate({ sampleRateHz, channels }, take.source)
    analyses = await analysts.analyse(channels, located, take.setting, signal)
  } catch (error) {
    if (error instanceof StopError && !signal.aborted) await take.refuse?.(error)
    throw error
  }
  return {
    take: rest,
    located,
    sampleRateHz,
    inputCount,
    lengthS,
    analyses: new Map(inputNumbers.map((number, k) => [number, analyses[k]])),
  }
}

export function leadsOf(patch: PatchSpec, measured: readonly MeasuredTake[], rig: Pick<Rig, 'inputs'>): LeadData[] {
  const taken = measured.filter(({ take }) => take.patchName === patch.name)
  const reference = taken.find(({ take }) => take.setting === 'reference')!
  const others = taken.filter((one) => one !== reference)
  return patch.leads.map(({ inputNumber, outputNumber }) => ({
    outputNumber,
    patchName: patch.name,
    inputNumber,
    input: rig.inputs[inputNumber - 1],
    captureBits: reference.take.captureBits,
    analysis: reference.analyses.get(inputNumber)!,
    others: new Map(others.map(({ take, analyses }) => [take.setting, analyses.get(inputNumber)!])),
  }))
}

const faultFinding = (patchName: string, says: string): Finding => ({
  kind: 'rig',
  verdict: 'unsure',
  outputs: [],
  title: `The take of ${patchName} is not whole`,
  because: says,
  next: 'Take it again; figures of a tainted take are not to be trusted.',
})
