/** What the stage with the engine running leaves: its steps judged, as tables, a plot and a sentence. */
import type { Job } from '../job/job.js'
import type { NoiseReading } from '../measure/analysis.js'
import { dbFromRatio } from '../units/level.js'
import { inDb, inDbv, inHz, listed, plain } from '../units/words.js'
import { BEFORE_ENGINE } from '../verdict/cautions.js'
import { worst } from '../verdict/decision.js'
import {
  type JudgedOutput,
  type JudgedSupply,
  judgeOutput,
  judgeSupply,
  type OutputAtSpeed,
  outputFindings,
  type SupplyAtSpeed,
  supplyFindings,
} from '../verdict/engine-checks.js'
import type { StagePlot, StageResult, StageTable, StageTake } from '../verdict/stage-result.js'

/** An output's noise, at its lead. */
export interface NoiseSaid {
  readonly number: number
  readonly levelDbv: number
  /** Twelfth octaves. */
  readonly freqHz: readonly number[]
  readonly bandDbv: readonly number[]
}

/** What a step leaves. */
export type EngineStep =
  | {
      readonly kind: 'off'
      readonly take: StageTake
      readonly outputs: readonly NoiseSaid[]
      /** In the order of the leads, for what is held against it. */
      readonly reference: readonly NoiseReading[]
    }
  | {
      readonly kind: 'running'
      readonly take: StageTake
      /** idle, 2000 rpm. */
      readonly words: string
      readonly speedRpm: number
      readonly outputs: readonly OutputAtSpeed[]
      readonly noise: readonly NoiseSaid[]
      /** null: not read in this hook-up. */
      readonly supply: SupplyAtSpeed | null
    }
  | { readonly kind: 'stopped' }

/** Digital silence has a level too. */
const LEAST_FS = 1e-12

export const noiseSaid = (number: number, noise: NoiseReading, fullScaleVrms: number): NoiseSaid => {
  const dbv = (fs: number): number => dbFromRatio(Math.max(fs, LEAST_FS) * fullScaleVrms)
  return { number, levelDbv: dbv(noise.unweightedFs), freqHz: noise.fine.freqHz, bandDbv: noise.fine.rmsFs.map(dbv) }
}

const METER_NOTE =
  'Ripple lies at 1 to 5 kHz with a sound alternator: a meter whose AC range ends below that reads too little. Its data sheet says.'

export function engineResult(
  steps: readonly EngineStep[],
  times: { readonly startedAt: string; readonly endedAt: string },
  job: Job,
): StageResult {
  const off = steps.filter((step) => step.kind === 'off')
  const running = steps.filter((step) => step.kind === 'running')
  const all = running.flatMap(({ outputs }) => outputs)
  const numbers = [...new Set(all.map(({ number }) => number))].sort((a, b) => a - b)
  const outputs = numbers.map((number) =>
    judgeOutput(
      all.filter((one) => one.number === number),
      job,
    ),
  )
  const supplies = running.flatMap(({ supply }) => (supply ? [judgeSupply(supply, job)] : []))
  const judged = [...supplies, ...outputs]
  const findings = [...supplyFindings(supplies, job), ...outputFindings(outputs, job)]
  const speedOf = (words: string): number => running.find((step) => step.words === words)!.speedRpm
  return {
    stage: 'engine',
    verdict: worst(judged.map(({ verdict }) => verdict)),
    summary: summaryOf(outputs, supplies, findings.length > 0),
    ...times,
    figures: judged.flatMap(({ checks }) => checks.flatMap(({ figure }) => (figure ? [figure] : []))),
    checks: judged.flatMap(({ checks }) => checks),
    findings,
    tables: [
      supplyTable(supplies, speedOf),
      outputTable(
        outputs,
        all,
        off.flatMap((step) => step.outputs),
        job,
      ),
    ],
    plots: plotsOf(outputs, off, running, job),
    corrections: [],
    takes: [...off, ...running].map(({ take }) => take),
    notes: [
      METER_NOTE,
      ...[...off, ...running].flatMap(({ take }) =>
        take.faults.length > 0 ? [`The capture of ${take.what} was not whole: ${take.faults.join('; ')}.`] : [],
      ),
    ],
    cautions: [BEFORE_ENGINE],
  }
}

function summaryOf(outputs: readonly JudgedOutput[], supplies: readonly JudgedSupply[], isOff: boolean): string {
  if (!isOff) return `${outputs.length} outputs stay quiet with the engine running, and the supply is as it should be.`
  const off = outputs.filter(({ verdict }) => verdict !== 'pass').map(({ number }) => number)
  const isSupplyOff = supplies.some(({ verdict }) => verdict !== 'pass')
  const parts = [
    ...(off.length > 0 ? [`the engine is heard on output${off.length > 1 ? 's' : ''} ${listed(off)}`] : []),
    ...(isSupplyOff ? ['the supply is not as it should be'] : []),
  ].join('; ')
  return `With the engine running, ${parts}.`
}

const supplyTable = (supplies: readonly JudgedSupply[], speedOf: (words: string) => number): StageTable => ({
  caption: 'Supply of the interface with the engine running',
  head: ['Engine', 'Tachometer (1/min)', 'Supply (V)', 'Ripple, peak to peak (V)'],
  rows: supplies.map(({ at, verdict }) => ({
    cells: [
      at.speed,
      plain(speedOf(at.speed), 0),
      at.dcVolts ? plain(at.dcVolts.value, 2) : 'overload',
      at.ripple ? plain(at.ripple.value, 2) : 'overload',
    ],
    verdict,
  })),
})

function outputTable(
  outputs: readonly JudgedOutput[],
  all: readonly OutputAtSpeed[],
  stopped: readonly NoiseSaid[],
  job: Job,
): StageTable {
  const speeds = [...new Set(all.map(({ speed }) => speed))]
  const whineWords = ({ engine: { whine, whineDbv } }: OutputAtSpeed): string =>
    whine ? `${inDbv(whineDbv!.value)}, ${inHz(Math.sqrt(whine.lowHz * whine.highHz))}` : 'none'
  return {
    caption: 'Outputs, engine running against stopped',
    head: [
      'Output',
      'Noise, engine off (dBV)',
      ...speeds.flatMap((speed) => [`Rise at ${speed}`, `Whine at ${speed}`]),
      'Whine goes with the speed',
    ],
    rows: outputs.map(({ number, verdict, goesAlong }) => ({
      cells: [
        `${number} ${job.outputs.find((spec) => spec.number === number)!.label}`,
        plain(stopped.find((one) => one.number === number)!.levelDbv, 1),
        ...speeds.flatMap((speed) => {
          const at = all.find((one) => one.number === number && one.speed === speed)
          if (!at) return ['–', '–']
          return [at.engine.riseDb ? inDb(at.engine.riseDb.value) : '–', whineWords(at)]
        }),
        goesAlong === null ? '–' : goesAlong ? 'yes' : 'no',
      ],
      verdict,
    })),
  }
}

/** Noise of the output that the engine is heard on most. */
function plotsOf(
  outputs: readonly JudgedOutput[],
  off: readonly (EngineStep & { kind: 'off' })[],
  running: readonly (EngineStep & { kind: 'running' })[],
  job: Job,
): StagePlot[] {
  if (outputs.length === 0) return []
  const riseOf = ({ rise }: JudgedOutput): number => rise?.engine.riseDb?.value ?? Number.NEGATIVE_INFINITY
  const { number } = outputs.reduce((a, b) => (riseOf(b) > riseOf(a) ? b : a))
  const { label } = job.outputs.find((spec) => spec.number === number)!
  const curve = (name: string, all: readonly NoiseSaid[]): StagePlot['series'] =>
    all.filter((one) => one.number === number).map(({ freqHz, bandDbv }) => ({ name, x: [...freqHz], y: [...bandDbv] }))
  return [
    {
      caption: `Noise of output ${number} ${label} in twelfth octaves, engine off and running`,
      alt: `Noise spectrum of output ${number} with the engine off, and at ${listed([...new Set(running.map(({ words }) => words))])}.`,
      x: { says: 'frequency (Hz)', scale: 'log' },
      y: { says: 'level (dBV)', scale: 'linear' },
      series: [
        ...off.flatMap((step) => curve('engine off', step.outputs)),
        ...running.flatMap((step) => curve(step.words, step.noise)),
      ],
      limits: [],
      marks: [],
    },
  ]
}
