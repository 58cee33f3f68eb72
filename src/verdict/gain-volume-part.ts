/** The highest clean volume against the one that is wanted, and what ended it. */
import type { Job } from '../job/job.js'
import { estimate } from '../measure/estimate.js'
import { STAIRCASE_METHOD } from '../measure/staircase.js'
import { inPct, listed } from '../units/words.js'
import type { AtVolume, CleanVolume } from './clean-volume.js'
import { figureOf } from './decision.js'
import { limitOf, type Part, volumeName } from './gain-part.js'
import type { Check, Finding, Verdict } from './parts.js'

export function volumePart(job: Job, tried: readonly AtVolume[], clean: CleanVolume): Part {
  const limitPct = limitOf(job)
  const highest = clean.highestIndex < 0 ? null : tried[clean.highestIndex].volume
  const wanted = job.gains.volumeMin ?? (tried.some(({ volume }) => volume === job.volumeStep) ? job.volumeStep : null)
  const isTop = clean.ended.length === 0
  const isReached = clean.highestIndex >= 0 && (wanted === null || highest === null || highest >= wanted)
  const byCard = clean.ended.filter(({ state }) => state === 'card overdriven')
  const clipping = clean.ended.filter(({ state }) => state === 'clips')
  const next = tried[clean.highestIndex + 1]?.volume ?? null
  const verdict: Verdict = isReached ? 'pass' : clipping.length > 0 ? 'fail' : 'unsure'
  const numbers = clipping.map(({ outputNumber }) => outputNumber)
  const endWords = isTop
    ? 'nothing clips at any volume that was tried'
    : clipping.length > 0
      ? `at ${volumeName(next)} output${numbers.length > 1 ? 's' : ''} ${listed(numbers)} clip${numbers.length > 1 ? '' : 's'} (THD ${inPct(Math.max(...clipping.map(({ thdPct }) => thdPct)))})`
      : `at ${volumeName(next)} the card is overdriven`
  const check: Check = {
    name: 'highest clean volume',
    verdict,
    figure:
      highest === null
        ? null
        : figureOf('highest clean volume', '', {
            ...estimate(highest, {}, STAIRCASE_METHOD, { isAtLeast: isTop }),
            u: Number.NaN,
          }),
    expected: `THD at 0 dBFS ${inPct(limitPct)} or less${wanted === null ? '' : ` up to ${volumeName(wanted)}`}`,
    measured: `${clean.highestIndex < 0 ? 'none' : volumeName(highest)}: ${endWords}`,
    why:
      verdict === 'pass'
        ? ''
        : verdict === 'fail'
          ? 'An output clips below it.'
          : 'The card stops before the outputs do.',
  }
  const findings: Finding[] = []
  if (!isReached && clipping.length > 0) {
    const everyone = (tried[clean.highestIndex + 1] ?? tried[0]).outputs.filter(
      ({ fullScaleVrms }) => fullScaleVrms !== null,
    )
    const isAll = everyone.length > 1 && clipping.length === everyone.length
    findings.push({
      kind: 'gain',
      verdict: 'fail',
      outputs: numbers,
      title: `${isAll ? 'The head unit clips' : `Output${numbers.length > 1 ? 's' : ''} ${listed(numbers)} clip${numbers.length > 1 ? '' : 's'}`} at ${volumeName(next)}`,
      because: `${listed(clipping.slice(0, 4).map(({ outputNumber, thdPct }) => `output ${outputNumber} THD ${inPct(thdPct)}`))} for a full-scale source; limit ${inPct(limitPct)}${wanted === null ? '' : `, wanted clean up to ${volumeName(wanted)}`}.`,
      next: `${clean.highestIndex < 0 ? 'Try lower volumes (gains.volume_steps)' : `Mark ${volumeName(highest)} as the highest to be used; the gains are set for it`}. ${isAll ? 'All outputs clip alike: look at the source level and the head unit.' : 'Only some outputs clip: lower their level in the interface.'}`,
    })
  }
  if (!isReached && clipping.length === 0) {
    findings.push({
      kind: 'rig',
      verdict: 'unsure',
      outputs: byCard.map(({ outputNumber }) => outputNumber),
      title: `The card is overdriven at ${volumeName(next)}`,
      because: `Output${byCard.length > 1 ? 's' : ''} ${listed(byCard.map(({ outputNumber }) => outputNumber))} reach full scale of the card: whether they clip themselves cannot be told.`,
      next: 'Put pads in front of these inputs, write them into the rig file, and run the stage again.',
    })
  }
  if (clean.ownDistortion.length > 0) {
    findings.push({
      kind: 'gain',
      verdict: 'pass',
      outputs: [...clean.ownDistortion],
      title: `Output ${listed(clean.ownDistortion)} is distorted at every volume`,
      because: 'Its distortion does not come with the volume, so it does not count for the highest clean volume.',
      next: 'See the stage of the outputs.',
    })
  }
  return { checks: [check], findings, figures: [check.figure] }
}
