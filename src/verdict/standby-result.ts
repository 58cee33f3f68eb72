/** The stage of standby as a result: what is wrong, the plots of its logs, and the days until the battery is flat. */
import type { StandbySpec } from '../job/standby.js'
import type { LogPoint } from '../measure/standby-log.js'
import type { MeterSpec } from '../rig/rig.js'
import { plain } from '../units/words.js'
import { figureOf, worst } from './decision.js'
import type { Check, Finding } from './parts.js'
import type { StagePlot, StageResult } from './stage-result.js'
import {
  inA,
  inS,
  NO_CURRENT,
  REMOTE,
  readStandby,
  type StandbyLogs,
  type StandbyRead,
  standbyChecks,
} from './standby-checks.js'

export function standbyResult(
  spec: StandbySpec,
  logs: StandbyLogs,
  meter: Pick<MeterSpec, 'accuracyPct'>,
  cautions: readonly string[],
): Omit<StageResult, 'startedAt' | 'endedAt'> {
  const read = readStandby(spec, logs, meter)
  const checks = standbyChecks(spec, logs, read)
  const findings = findingsOf(spec, checks, read)
  const days = figureOf('days until the battery is flat', 'day', read.days)
  return {
    stage: 'standby',
    verdict: worst(checks.map(({ verdict }) => verdict)),
    summary: summaryOf(checks, read, findings),
    figures: days ? [days] : [],
    checks,
    findings,
    tables: [tableOf(spec, checks, read)],
    plots: plotsOf(spec, logs, read),
    corrections: [],
    takes: [],
    notes: notesOf(spec, read),
    cautions: [...cautions],
  }
}

/** What settles a check that could not be told. */
function nextOf({ name, figure, why }: Check): string {
  const again = 'Run this stage again; watch longer (watch_s) where it had not settled.'
  if (name !== 'standby current' || figure === null) return again
  return why === NO_CURRENT
    ? 'Take the bypass lead off, see that the fuse is whole, and run this stage again.'
    : 'Read it again in a finer range: bypass lead on until the remote turn-on has fallen, then the milliampere range, then the bypass off.'
}

function findingsOf(spec: StandbySpec, [wake, sleep, current]: readonly Check[], read: StandbyRead): Finding[] {
  const finding = (check: Check, title: string, because: string, next: string): Finding => ({
    kind: 'standby',
    verdict: check.verdict === 'fail' ? 'fail' : 'unsure',
    outputs: [],
    title,
    because,
    next,
  })
  const unsure = (check: Check): Finding =>
    finding(check, `${upper(check.name)} could not be told`, `${upper(check.measured)}; ${check.why}`, nextOf(check))
  const found: Finding[] = []
  if (wake.verdict === 'fail') {
    const title = read.isEverAwake ? 'The remote turn-on comes late' : 'The remote turn-on never comes'
    found.push(
      finding(
        wake,
        title,
        `From ignition on: ${wake.measured}; limit ${inS(spec.wakeSMax)}.`,
        'Check the ignition wire and the data pair of the interface, then its setting for the remote turn-on.',
      ),
    )
  } else if (wake.verdict === 'unsure') found.push(unsure(wake))
  if (sleep.verdict === 'fail') {
    const title = read.isEverAsleep ? 'The interface falls asleep late' : 'The interface does not fall asleep'
    const still = read.isEverAsleep || !read.standby ? '' : ` It still drew ${inA(read.standby.value)}.`
    found.push(
      finding(
        sleep,
        title,
        `Remote turn-on low: ${sleep.measured}; limit ${inS(spec.sleepSMax)}.${still}`,
        'See whether the vehicle itself sleeps (key far away, bonnet and doors shut); then whether ignition, accessory or bus of the interface sit on a constant line.',
      ),
    )
  } else if (sleep.verdict === 'unsure' && read.isEverAwake) found.push(unsure(sleep))
  // One that does not sleep, and whose current says so too, is one fault.
  if (current.verdict === 'fail') {
    const days = read.days ? ` With all else asleep, ${inDays(read.days.value)} until the battery is flat.` : ''
    found.push(
      finding(
        current,
        'The interface draws too much asleep',
        `${current.measured} ± ${inA(current.figure?.u ?? 0)}; limit ${inA(spec.currentAMax)}.${days}`,
        'Take off what else hangs on its supply and its remote turn-on, one by one, and read again; what is left is the interface.',
      ),
    )
  } else if (current.verdict === 'unsure' && read.isEverAsleep) found.push(unsure(current))
  return found
}

const upper = (text: string): string => text.charAt(0).toUpperCase() + text.slice(1)
const inDays = (days: number): string => `${plain(days, days < 10 ? 1 : 0)} days`

function summaryOf(checks: readonly Check[], read: StandbyRead, findings: readonly Finding[]): string {
  if (findings.length > 0) return `${findings.map(({ title }) => title).join('; ')}.`
  const [wake, sleep, current] = checks
  const days = read.days ? `; ${inDays(read.days.value)} until the battery is flat` : ''
  return `It wakes in ${wake.measured}, sleeps after ${sleep.measured}, and then draws ${current.measured}${days}.`
}

function tableOf(spec: StandbySpec, checks: readonly Check[], { days }: StandbyRead): StageResult['tables'][number] {
  const battery =
    days === null
      ? []
      : [
          {
            cells: [
              'days until the battery is flat',
              `${spec.batteryAh} Ah, ${plain(100 * spec.usableShare, 0)} % usable, ${inA(spec.otherDrainA)} besides`,
              inDays(days.value),
            ],
            verdict: null,
          },
        ]
  return {
    caption: 'Waking, sleeping and standby',
    head: ['What', 'Expected', 'Found'],
    rows: [
      ...checks.map(({ name, expected, measured, verdict }) => ({ cells: [name, expected, measured], verdict })),
      ...battery,
    ],
  }
}

function notesOf(spec: StandbySpec, { current, settled, days }: StandbyRead): string[] {
  const count = (n: number, one: string): string => `${n} ${one}${n === 1 ? '' : 's'}`
  return [
    'No standard limits standby current, waking or sleeping: the limits are the job’s, by default common practice.',
    ...(settled
      ? [
          `Standby current: median of ${count(settled.readingCount, 'reading')} from ${inS(settled.fromS)} on, the meter's percentage of volts taken for amperes.`,
        ]
      : []),
    ...(current && current.jumpCount > 0
      ? [
          `${count(current.jumpCount, 'reading')} of the current left out: overload, or a single one far off, as when a meter changes its range.`,
        ]
      : []),
    ...(current ?? { gaps: [] }).gaps.map(
      ({ fromS, toS }) => `No reading of the current from ${inS(fromS)} to ${inS(toS)}.`,
    ),
    ...(days
      ? ['Days until flat: usable charge over drain, without self-discharge and at the capacity that the job gives.']
      : []),
    ...(spec.batteryAh === null ? ['No battery_ah in the job: days until flat are not given.'] : []),
  ]
}

/** A line does not cross what was left out, nor a stretch without readings. */
function broken(
  log: readonly LogPoint[],
  gaps: readonly { fromS: number; toS: number }[],
  kept: ReadonlySet<number> | null,
) {
  const points = [
    ...log.map(({ atS, value }) => ({ atS, value: kept === null || kept.has(atS) ? value : null })),
    ...gaps.map(({ fromS, toS }) => ({ atS: (fromS + toS) / 2, value: null })),
  ]
  return points.sort((a, b) => a.atS - b.atS)
}

function plotsOf(spec: StandbySpec, logs: StandbyLogs, read: StandbyRead): StagePlot[] {
  const remote = (log: readonly LogPoint[] | null, edge: number | null, from: string, to: string): StagePlot[] =>
    log === null
      ? []
      : [
          {
            caption: `Remote turn-on, ${to}`,
            alt:
              edge === null
                ? `The remote turn-on does not change`
                : `The remote turn-on changes ${inS(edge)} after ${from}`,
            x: { says: `time from ${from} (s)`, scale: 'linear' },
            y: { says: 'remote turn-on (V)', scale: 'linear' },
            series: [{ name: 'remote', x: log.map(({ atS }) => atS), y: log.map(({ value }) => value) }],
            limits: [
              { says: 'high', y: REMOTE.highMin },
              { says: 'low', y: REMOTE.lowMax },
            ],
            marks: [{ says: from, x: 0 }, ...(edge === null ? [] : [{ says: to, x: edge }])],
          },
        ]
  const { current, settled, sleep } = read
  const asleep = settled && read.isEverAsleep ? settled : null
  const points =
    logs.current && current && broken(logs.current, current.gaps, new Set(current.points.map(({ atS }) => atS)))
  const last = spec.scenario.at(-1) === 'lock' ? 'locked' : 'ignition off'
  return [
    ...remote(logs.wake, read.wake?.atS ?? null, 'ignition on', 'awake'),
    ...remote(logs.sleep, sleep?.atS ?? null, last, 'remote off'),
    ...(points
      ? [
          {
            caption: 'Supply current, falling asleep',
            alt: asleep
              ? `The supply current settles at ${inA(asleep.level)}, ${inS(asleep.fromS)} after ${last}`
              : 'The supply current does not settle asleep',
            x: { says: `time from ${last} (s)`, scale: 'linear' as const },
            y: { says: 'supply current (mA)', scale: 'log' as const },
            series: [
              {
                name: 'supply',
                x: points.map(({ atS }) => atS),
                // A logarithmic axis has no zero.
                y: points.map(({ value }) => (value === null || value <= 0 ? null : 1000 * value)),
              },
            ],
            limits: [{ says: 'limit', y: 1000 * spec.currentAMax }],
            marks: [
              { says: last, x: 0 },
              ...(sleep ? [{ says: 'remote off', x: sleep.atS }] : []),
              ...(asleep ? [{ says: 'asleep', x: asleep.fromS }] : []),
            ],
          },
        ]
      : []),
  ]
}
