/** The gain sheet to print, and the volumes that were tried, as tables and a plot. */
import type { Job } from '../job/job.js'
import { dbFromRatio } from '../units/level.js'
import { inDb, inHz, inPct, inVolts, listed, plain } from '../units/words.js'
import type { AtVolume, CleanVolume } from './clean-volume.js'
import { worst } from './decision.js'
import type { ChannelOutcome } from './gain-channel-part.js'
import { limitOf, type Part, volumeName } from './gain-part.js'
import type { StagePlot, StageTable } from './stage-result.js'

export function gainSheet(channels: readonly ChannelOutcome[], parts: readonly Part[]): StageTable {
  return {
    caption:
      'Gain sheet: turn each gain until the meter shows the target with the tone at the overlap; sensitivity is the input for rated power.',
    head: [
      'Channel',
      'Outputs',
      'Rated',
      'Load',
      'Overlap',
      'Input at 0 dBFS',
      'Sensitivity',
      'Tone',
      'Target',
      'Meter',
      'Off',
    ],
    rows: channels.map(({ spec, freqHz, target, reading }, k) => ({
      cells: [
        spec.name,
        listed(spec.outputs),
        `${plain(spec.ratedW, 0)} W`,
        `${spec.loadOhm} Ω`,
        `${plain(spec.overlapDb, 0)} dB`,
        target ? inVolts(target.fullScaleVrms) : '–',
        target ? inVolts(target.wantedVrms.value) : '–',
        freqHz === null ? '–' : inHz(freqHz),
        target ? inVolts(target.terminalVrms) : '–',
        reading ? inVolts(reading.readVrms) : '–',
        reading && target && freqHz !== null
          ? inDb(dbFromRatio(Math.max(reading.readVrms, 1e-6) / target.terminalVrms))
          : '–',
      ],
      verdict: worst(parts[k].checks.map(({ verdict }) => verdict)),
    })),
  }
}

const worstThd = ({ outputs }: AtVolume): { outputNumber: number; thdPct: number; isAtMost: boolean } | null =>
  outputs.length === 0 ? null : outputs.reduce((a, b) => (b.thdPct > a.thdPct ? b : a))

export function volumeTable(tried: readonly AtVolume[], job: Job): StageTable {
  return {
    caption: `Outputs for a full-scale source against the volume; THD over the fundamental, limit ${inPct(limitOf(job))}.`,
    head: ['Volume', 'Worst output', 'Its THD', 'Loudest output', 'Its volts'],
    rows: tried.map((one) => {
      const thd = worstThd(one)
      const loudest = one.outputs.reduce(
        (a, b) => ((b.fullScaleVrms ?? 0) > (a.fullScaleVrms ?? 0) ? b : a),
        one.outputs[0],
      )
      return {
        cells: [
          one.volume === null ? 'reference' : String(one.volume),
          thd ? String(thd.outputNumber) : '–',
          thd ? `${thd.isAtMost ? '≤ ' : ''}${inPct(thd.thdPct)}` : '–',
          loudest ? String(loudest.outputNumber) : '–',
          loudest?.fullScaleVrms ? inVolts(loudest.fullScaleVrms) : '–',
        ],
        verdict: null,
      }
    }),
  }
}

export function volumePlot(tried: readonly AtVolume[], clean: CleanVolume, job: Job): StagePlot {
  const highest = clean.highestIndex < 0 ? null : tried[clean.highestIndex].volume
  return {
    caption: 'Distortion of the worst output for a full-scale source, against the volume.',
    alt: `Distortion stays under its limit up to ${highest === null ? 'no volume' : volumeName(highest)}.`,
    x: { says: 'volume', scale: 'linear' },
    y: { says: 'THD (%)', scale: 'log' },
    series: [
      {
        name: 'worst output',
        x: tried.map(({ volume }) => volume ?? 0),
        y: tried.map((one) => worstThd(one)?.thdPct || null),
      },
    ],
    limits: [{ says: 'limit', y: limitOf(job) }],
    marks: highest === null ? [] : [{ says: 'highest clean', x: highest }],
  }
}
