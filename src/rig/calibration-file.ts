/** A calibration to the text of its file and back: names renamed once, numbers cut to digits that mean something. */
import { Document, isMap, isScalar, isSeq, visit } from 'yaml'
import { readDocument } from '../document/read.js'
import type { Calibration, FloorOfInput, LoopOfInput, Made, VoltsOfInput } from './calibration.js'
import { LOADING } from './calibration.js'
import { CalibrationFile } from './calibration-schema.js'
import type { OwnRatio } from './rig.js'

const HEADER = `# Calibration of a rig, written by linetrue. What the fields mean: linetrue schema calibration
# Anew: linetrue rig calibrate RIG for the volts, linetrue rig limits RIG for what the rig itself adds.
`

type VoltsFile = NonNullable<CalibrationFile['volts']>
type FloorFile = NonNullable<CalibrationFile['shorted']>['inputs'][number]
type LoopFile = NonNullable<CalibrationFile['looped']>['inputs'][number]
type MadeFile = Pick<VoltsFile, 'made_at' | 'program' | 'capture'>
type RatioFile = LoopFile['thd'][number]

/**
 * Reads a calibration file.
 *
 * @param fileName as the person named it, for messages
 * @throws StopError naming the line, the field, what was found and what is allowed
 */
export function parseCalibration(text: string, fileName: string): Calibration {
  const { rig, volts, shorted, looped } = readDocument(CalibrationFile, text, fileName)
  return {
    rigName: rig,
    volts: volts
      ? {
          ...madeOf(volts),
          meter: {
            says: volts.meter.says,
            accuracyPct: volts.meter.accuracy_pct,
            accuracyVrms: volts.meter.accuracy_vrms,
          },
          feed: volts.feed,
          inputs: volts.inputs.map(voltsOf),
        }
      : null,
    shorted: shorted ? { ...madeOf(shorted), inputs: shorted.inputs.map(floorOf) } : null,
    looped: looped ? { ...madeOf(looped), feed: looped.feed, inputs: looped.inputs.map(loopOf) } : null,
  }
}

/** The file's text, in the order in which a person looks for things. */
export function calibrationText({ rigName, volts, shorted, looped }: Calibration): string {
  const file: CalibrationFile = {
    rig: rigName,
    ...(volts && {
      volts: {
        ...madeFile(volts),
        meter: {
          says: volts.meter.says,
          accuracy_pct: volts.meter.accuracyPct,
          accuracy_vrms: volts.meter.accuracyVrms,
        },
        feed: volts.feed,
        loading: LOADING,
        inputs: volts.inputs.map(voltsFile),
      },
    }),
    ...(shorted && { shorted: { ...madeFile(shorted), inputs: shorted.inputs.map(floorFile) } }),
    ...(looped && { looped: { ...madeFile(looped), feed: looped.feed, inputs: looped.inputs.map(loopFile) } }),
  }
  const document = new Document(file)
  // Rows of numbers stand on a line each, as in a table.
  visit(document, {
    Map: (_key, map, path) => {
      const isRow = isSeq(path.at(-1)) && map.items.every(({ value }) => isScalar(value))
      if (isRow || (isMap(path.at(-1)) && path.some(isSeq))) map.flow = true
    },
  })
  return HEADER + document.toString({ lineWidth: 0, flowCollectionPadding: true })
}

const fine = (value: number): number => Number(value.toPrecision(7))
const rough = (value: number): number => Number(value.toPrecision(3))
// Adding 0 makes a plain zero of one that has a sign.
const db = (value: number): number => Number(value.toFixed(4)) + 0

const dofOf = (dof: number | undefined): number => dof ?? Number.POSITIVE_INFINITY
/** More than this change the coverage factor by less than a thousandth of itself. */
const MANY_DOF = 2000
const dofFile = (dof: number): { dof?: number } => (dof < MANY_DOF ? { dof: rough(dof) } : {})

const madeOf = ({ made_at, program, capture }: MadeFile): Made => ({
  madeAt: made_at,
  program,
  capture: {
    driver: capture.driver,
    device: capture.device ?? null,
    says: capture.says,
    sampleRateHz: capture.sample_rate_hz,
    bits: capture.bits,
  },
})

const madeFile = ({ madeAt, program, capture }: Made): MadeFile => ({
  made_at: madeAt,
  program,
  capture: {
    driver: capture.driver,
    ...(capture.device === null ? {} : { device: capture.device }),
    says: capture.says,
    sample_rate_hz: capture.sampleRateHz as MadeFile['capture']['sample_rate_hz'],
    bits: capture.bits,
  },
})

const voltsOf = (file: VoltsFile['inputs'][number]): VoltsOfInput => ({
  inputNumber: file.input,
  padDb: file.pad_db,
  fullScaleVrms: file.full_scale_vrms,
  expandedDb: file.expanded_db,
  k: file.k,
  dof: dofOf(file.dof),
  rigFileVrms: file.rig_file_vrms,
  rigFileU: file.rig_file_u_db,
  differenceDb: file.difference_db,
  budget: file.budget.map(({ source, u_db, dof }) => ({ source, u: u_db, dof: dofOf(dof) })),
  points: file.points.map((point) => ({
    freqHz: point.freq_hz,
    meterVrms: point.meter_vrms,
    levelDbfs: point.level_dbfs,
    fullScaleVrms: point.full_scale_vrms,
    readingCount: point.reading_count,
    spreadDb: point.spread_db,
  })),
})

const voltsFile = (input: VoltsOfInput): VoltsFile['inputs'][number] => ({
  input: input.inputNumber,
  pad_db: input.padDb,
  full_scale_vrms: fine(input.fullScaleVrms),
  expanded_db: rough(input.expandedDb),
  k: rough(input.k),
  ...dofFile(input.dof),
  rig_file_vrms: fine(input.rigFileVrms),
  rig_file_u_db: db(input.rigFileU),
  difference_db: db(input.differenceDb),
  budget: input.budget.map(({ source, u, dof }) => ({ source, u_db: rough(u), ...dofFile(dof) })),
  points: input.points.map((point) => ({
    freq_hz: fine(point.freqHz),
    meter_vrms: fine(point.meterVrms),
    level_dbfs: db(point.levelDbfs),
    full_scale_vrms: fine(point.fullScaleVrms),
    reading_count: point.readingCount,
    spread_db: rough(point.spreadDb),
  })),
})

const floorOf = (file: FloorFile): FloorOfInput => ({
  inputNumber: file.input,
  padDb: file.pad_db,
  noiseDbfs: file.noise_dbfs,
  noiseADbfs: file.noise_a_dbfs,
  noiseU: file.noise_u_db,
  humDbfs: file.hum_dbfs,
  isHumAtMost: file.hum_is_at_most,
  bandHz: file.third_octaves.map(({ freq_hz }) => freq_hz),
  bandDbfs: file.third_octaves.map(({ level_dbfs }) => level_dbfs),
})

const floorFile = (input: FloorOfInput): FloorFile => ({
  input: input.inputNumber,
  pad_db: input.padDb,
  noise_dbfs: db(input.noiseDbfs),
  noise_a_dbfs: db(input.noiseADbfs),
  noise_u_db: rough(input.noiseU),
  hum_dbfs: db(input.humDbfs),
  hum_is_at_most: input.isHumAtMost,
  third_octaves: input.bandHz.map((freqHz, i) => ({ freq_hz: fine(freqHz), level_dbfs: db(input.bandDbfs[i]) })),
})

const ratioOf = ({ freq_hz, ratio_pct, u_pct, is_at_most }: RatioFile): OwnRatio => ({
  freqHz: freq_hz,
  ratio: ratio_pct / 100,
  u: u_pct / 100,
  isAtMost: is_at_most,
})

const ratioFile = ({ freqHz, ratio, u, isAtMost }: OwnRatio): RatioFile => ({
  freq_hz: fine(freqHz),
  ratio_pct: fine(100 * ratio),
  u_pct: rough(100 * u),
  is_at_most: isAtMost,
})

const loopOf = (file: LoopFile): LoopOfInput => ({
  inputNumber: file.input,
  padDb: file.pad_db,
  levelDbfs: file.level_dbfs,
  thd: file.thd.map(ratioOf),
  intermodulation: file.intermodulation.map(({ kind, ...ratio }) => ({ kind, ...ratioOf(ratio) })),
  response: file.response.map(({ freq_hz, deviation_db }) => ({ freqHz: freq_hz, deviationDb: deviation_db })),
  responseU: file.response_u_db,
  matchDb: file.match_db,
  matchU: file.match_u_db,
  polarity: file.polarity ?? null,
  delayS: file.delay_us === undefined ? null : file.delay_us / 1e6,
  delayU: file.delay_u_us === undefined ? null : file.delay_u_us / 1e6,
  crosstalk: file.crosstalk
    ? {
        fromInput: file.crosstalk.from_input,
        freqHz: file.crosstalk.freq_hz,
        db: file.crosstalk.level_db,
        u: file.crosstalk.u_db,
        isAtMost: file.crosstalk.is_at_most,
      }
    : null,
})

const loopFile = (input: LoopOfInput): LoopFile => ({
  input: input.inputNumber,
  pad_db: input.padDb,
  level_dbfs: db(input.levelDbfs),
  thd: input.thd.map(ratioFile),
  intermodulation: input.intermodulation.map(({ kind, ...ratio }) => ({ kind, ...ratioFile(ratio) })),
  response: input.response.map(({ freqHz, deviationDb }) => ({ freq_hz: fine(freqHz), deviation_db: db(deviationDb) })),
  response_u_db: rough(input.responseU),
  match_db: db(input.matchDb),
  match_u_db: rough(input.matchU),
  ...(input.polarity === null ? {} : { polarity: input.polarity }),
  ...(input.delayS === null ? {} : { delay_us: db(1e6 * input.delayS) }),
  ...(input.delayU === null ? {} : { delay_u_us: rough(1e6 * input.delayU) }),
  ...(input.crosstalk && {
    crosstalk: {
      from_input: input.crosstalk.fromInput,
      freq_hz: fine(input.crosstalk.freqHz),
      level_db: db(input.crosstalk.db),
      u_db: rough(input.crosstalk.u),
      is_at_most: input.crosstalk.isAtMost,
    },
  }),
})
