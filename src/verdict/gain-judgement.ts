/** Gain structure in the trade's words: highest clean volume, each channel's setting, and the gain sheet. */
import type { Job } from '../job/job.js'
import type { MeterSpec } from '../rig/rig.js'
import type { AtVolume, CleanVolume } from './clean-volume.js'
import { worst } from './decision.js'
import { type ChannelOutcome, channelPart } from './gain-channel-part.js'
import { volumeName } from './gain-part.js'
import { gainSheet, volumePlot, volumeTable } from './gain-sheet.js'
import { volumePart } from './gain-volume-part.js'
import type { StageResult } from './stage-result.js'

export const GAIN_CAUTIONS = [
  'Hearing and speakers: full-level tones are played. Speakers unplugged from the amplifier that is set, nobody near one that is connected.',
  'Load: disconnect it while a gain is set, unless amplifier and load are rated for a steady tone at full power; both get hot.',
  'Terminals: no speaker terminal to ground, bridged or not; meter and attenuator have to float. Do not touch them while a tone plays.',
] as const

type Judged = Pick<StageResult, 'verdict' | 'summary' | 'figures' | 'checks' | 'findings' | 'tables' | 'plots'>

export function judgeGains(
  job: Job,
  meter: MeterSpec,
  tried: readonly AtVolume[],
  clean: CleanVolume,
  channels: readonly ChannelOutcome[],
): Judged {
  const volume = volumePart(job, tried, clean)
  const parts = channels.map((channel) => channelPart(channel, job, meter))
  const all = [volume, ...parts]
  const checks = all.flatMap((part) => part.checks)
  const verdict = worst(checks.map((check) => check.verdict))
  const findings = all.flatMap((part) => part.findings)
  const set = channels.filter(({ reading }) => reading !== null).length
  const volumeWords =
    clean.highestIndex < 0 ? 'no volume is clean' : `clean up to ${volumeName(tried[clean.highestIndex].volume)}`
  return {
    verdict,
    summary:
      verdict === 'pass'
        ? `${set === 1 ? 'The gain is' : `All ${set} gains are`} set; ${volumeWords}`
        : `${findings
            .filter((one) => one.verdict !== 'pass')
            .map(({ title }) => title)
            .join('; ')}; ${volumeWords}`,
    figures: all.flatMap((part) => part.figures.filter((figure) => figure !== null)),
    checks,
    findings,
    tables: [gainSheet(channels, parts), volumeTable(tried, job)],
    plots: tried.length > 1 ? [volumePlot(tried, clean, job)] : [],
  }
}
