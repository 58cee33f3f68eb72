/** What is wrong with an output's distortion, level range, engine noise, loudness or continuity. */
import type { Job } from '../job/job.js'
import type { OutputMeasures } from '../measure/outputs.js'
import { inDb, inDbv, inHz, inPct, listed, plain } from '../units/words.js'
import { varianceSaid } from './clean-checks.js'
import { verdictOf } from './judged.js'
import type { Check, Finding, Verdict } from './parts.js'

export function cleanFindings(measures: OutputMeasures, checks: readonly Check[], job: Job, name: string): Finding[] {
  return [
    ...distorted(measures, checks, job, name),
    ...adrift(measures, checks, job, name),
    ...whining(measures, checks, job, name),
    ...loudness(measures, checks, job, name),
    ...interrupted(measures, checks, name),
    ...timeVariant(measures, checks, name),
  ]
}

const firstOff = (checks: readonly Check[], names: readonly string[]): { name: string; verdict: Verdict } | null => {
  const off = names.map((name) => ({ name, verdict: verdictOf(checks, name) })).filter((one) => one.verdict !== 'pass')
  return off.find(({ verdict }) => verdict === 'fail') ?? off[0] ?? null
}

/** Too early a clipping, THD, intermodulation: one cause, said by what shows it best. */
function distorted(measures: OutputMeasures, checks: readonly Check[], job: Job, name: string): Finding[] {
  const outputs = [measures.lead.outputNumber]
  const { tone, thdPct, staircase, cleanLevelDbfs } = measures
  const clean = verdictOf(checks, 'clean level')
  const limited = staircase?.kind === 'limiting'
  if (clean !== 'pass' && cleanLevelDbfs && staircase) {
    const atLeast = cleanLevelDbfs.isAtLeast ? 'at least ' : ''
    const words = `Clean up to ${atLeast}${plain(cleanLevelDbfs.value, 1)} dBFS; the job asks for ${plain(job.limits.cleanLevelDbfsMin, 1)} dBFS.`
    const isSettled = clean === 'fail'
    return [
      {
        kind: limited ? 'limited' : 'distorted',
        verdict: clean,
        outputs,
        title: isSettled
          ? `${name} ${limited ? 'is held back' : 'clips'} from ${plain(cleanLevelDbfs.value, 1)} dBFS on`
          : `${name}: its highest clean level is too near the limit to judge`,
        because: limited
          ? `${words} Its gain falls while the tone stays clean: a limiter or a level control.`
          : `${words} Above that it shows ${staircase.kind}.`,
        next: limited
          ? "Switch limiting and level control off in the head unit and in the interface's set-up."
          : 'Turn the head unit down a few steps and take it again: if it goes away, it clips in front of the output; if not, suspect the output itself.',
      },
    ]
  }
  const thd = verdictOf(checks, 'thd')
  // What lines hide is told by the lines.
  const isHidden = thd === 'unsure' && thdPct?.isAtMost && firstOff(checks, ['hum', 'noise', 'noise A']) !== null
  if (thd !== 'pass' && tone && thdPct && !isHidden) {
    const seenFs = tone.harmonicsFs.map((peakFs, k) => (tone.harmonicsAtMost[k] ? 0 : peakFs))
    const order = 2 + seenFs.indexOf(Math.max(...seenFs))
    return [
      {
        kind: 'distorted',
        verdict: thd,
        outputs,
        title: thd === 'unsure' ? `${name}: its distortion is too near the limit to judge` : `${name} is distorted`,
        because: `THD ${inPct(thdPct.value)} at ${inHz(tone.freqHz)} and −3 dBFS, most of it order ${order}; limit ${inPct(job.limits.thdPctMax)}.`,
        next: 'Turn the head unit down a few steps and take it again: if it goes away, it clips in front of the output; if not, suspect the output itself.',
      },
    ]
  }
  const two = firstOff(checks, ['modulation distortion', 'difference-tone distortion'])
  if (two) {
    const value = (two.name.startsWith('mod') ? measures.modulationPct : measures.differencePct)!.value
    return [
      {
        kind: 'distorted',
        verdict: two.verdict,
        outputs,
        title:
          two.verdict === 'unsure'
            ? `${name}: its intermodulation is too near the limit to judge`
            : `${name} intermodulates`,
        because: `${two.name[0].toUpperCase()}${two.name.slice(1)} ${inPct(value)}; limit ${inPct(job.limits.imdPctMax)}.`,
        next: 'Turn the head unit down a few steps and take it again; if it stays, suspect the output itself.',
      },
    ]
  }
  const rest = verdictOf(checks, 'thd+n')
  if (rest === 'pass' || verdictOf(checks, 'noise') !== 'pass') return []
  return [
    {
      kind: 'distorted',
      verdict: rest,
      outputs,
      title: `${name}: distortion and noise together are too high`,
      because: `THD+N ${inPct(measures.thdNPct?.value ?? 0)}; limit ${inPct(job.limits.thdNPctMax)}.`,
      next: 'Look at its noise spectrum in the report for what adds to it.',
    },
  ]
}

/** A gain that follows the signal and no limiter that the staircase shows: slower, or below every step. */
function adrift(measures: OutputMeasures, checks: readonly Check[], job: Job, name: string): Finding[] {
  const verdict = verdictOf(checks, 'steady gain')
  const { gainChangeDb, staircase } = measures
  const isSaid = verdictOf(checks, 'clean level') !== 'pass' && staircase?.kind === 'limiting'
  if (verdict === 'pass' || !gainChangeDb || isSaid) return []
  const { envelope } = measures.lead.analysis
  const settling =
    envelope?.settleS == null
      ? ''
      : ` A steady tone changes by ${inDb(-envelope.driftDb)}, most of it in ${plain(envelope.settleS, 1)} s.`
  return [
    {
      kind: 'limited',
      verdict,
      outputs: [measures.lead.outputNumber],
      title: `${name}: its gain moves by itself`,
      because: `Signals of one level but of other length differ by ${inDb(gainChangeDb.value)}; limit ± ${job.limits.gainChangeDbMax} dB.${settling} Its level and response are those of the sweep only.`,
      next: "Switch automatic gain, level control and speed-dependent volume off in the head unit and in the interface's set-up.",
    },
  ]
}

function whining({ lead, engine }: OutputMeasures, checks: readonly Check[], job: Job, name: string): Finding[] {
  const off = firstOff(checks, ['whine', 'noise with the engine'])
  if (!off || !engine) return []
  const outputs = [lead.outputNumber]
  const { whine, whineDbv, riseDb } = engine
  if (!whine || !whineDbv) {
    return [
      {
        kind: 'whining',
        verdict: off.verdict,
        outputs,
        title: `${name} is noisier with the engine running`,
        because: `Its noise rises by ${inDb(riseDb!.value)}; limit ${inDb(job.limits.engineRiseDbMax)}.`,
        next: 'Check the grounds of interface and amplifier, and keep line leads away from the alternator and its cables.',
      },
    ]
  }
  const range = whine.isMoving ? `${inHz(whine.lowHz)} to ${inHz(whine.highHz)}` : inHz(whine.lowHz)
  return [
    {
      kind: 'whining',
      verdict: off.verdict,
      outputs,
      title: `${name} whines with the engine running`,
      because: `A series from ${range} (orders ${listed(whine.orders)}) at ${inDbv(whineDbv.value)}; limit ${inDbv(job.limits.whineDbvMax)}. ${whine.isMoving ? "It moves with the engine's speed." : 'It stood still while it was heard.'}`,
      next: 'Check that interface, head unit and amplifier share one ground; then the alternator and its ground strap.',
    },
  ]
}

function loudness({ lead, volumes }: OutputMeasures, checks: readonly Check[], job: Job, name: string): Finding[] {
  const verdict = verdictOf(checks, 'loudness')
  if (verdict === 'pass') return []
  const most = [...volumes].sort((a, b) => b.loudnessDb.value - a.loudnessDb.value)[0]
  const { bass, treble } = most.change
  const parts = [
    ...(bass ? [`${inDb(bass.liftDb)} at ${inHz(bass.freqHz)}`] : []),
    ...(treble ? [`${inDb(treble.liftDb)} at ${inHz(treble.freqHz)}`] : []),
  ]
  return [
    {
      kind: 'loudness',
      verdict,
      outputs: [lead.outputNumber],
      title: `${name} changes its response with the volume`,
      because: `At volume ${most.volume}, against the reference: ${parts.join(', ')}; limit ${inDb(job.limits.loudnessDbMax)}.`,
      next: 'Switch loudness and volume-dependent equalisation off in the head unit; if they cannot be, tune at the volume that is used most.',
    },
  ]
}

function timeVariant({ lead }: OutputMeasures, checks: readonly Check[], name: string): Finding[] {
  const verdict = verdictOf(checks, 'time-invariance')
  const variance = lead.analysis.timeVariance
  if (verdict === 'pass' || !variance) return []
  const sides = [...(variance.left?.isTimeVariant ? ['left'] : []), ...(variance.right?.isTimeVariant ? ['right'] : [])]
  const from = sides.length > 0 ? ` It is the ${listed(sides)} side that comes through changed.` : ''
  return [
    {
      kind: 'time-variant',
      verdict,
      outputs: [lead.outputNumber],
      title: `${name} is processed in a way that changes with time`,
      because: `The same signal comes out differently each time: ${varianceSaid(variance)}.${from}`,
      next: 'Switch surround, widening and similar effects off in the head unit and the interface, then take it again: its response cannot be tuned as it is.',
    },
  ]
}

function interrupted({ lead, interruptions }: OutputMeasures, checks: readonly Check[], name: string): Finding[] {
  const verdict = verdictOf(checks, 'interruptions')
  if (verdict === 'pass') return []
  const own = interruptions.filter(({ isCommon }) => !isCommon)
  const [{ interruption }] = own
  const words = interruption.kind === 'click' ? 'clicks' : `has a ${interruption.kind}`
  return [
    {
      kind: 'interrupted',
      verdict,
      outputs: [lead.outputNumber],
      title: `${name} ${words} at ${interruption.atS.toFixed(3)} s of the track`,
      because: `${own.length === 1 ? 'It happens once' : `It happens ${own.length} times`}, on this output and not on all; ${interruption.lengthSamples > 0 ? `${interruption.lengthSamples} samples are not what they should be` : 'what follows is displaced'}.`,
      next: 'Move the plug of this output while it plays: a poor contact shows so. If it stays, take it again, then suspect the interface.',
    },
  ]
}
