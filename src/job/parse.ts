/** From a job file's text to a checked job: defaults that depend on other fields, and names renamed once. */
import { readDocument } from '../document/read.js'
import { checkKind } from '../document/which-file.js'
import { vrms } from '../units/level.js'
import { chimesOf } from './chimes.js'
import { cornersOf } from './crossover.js'
import { engineSpecOf } from './engine.js'
import { flatOf } from './flat.js'
import { amplifiersOf, gainsOf } from './gains.js'
import { type ExtraTake, type Job, type Limits, type OutputSpec, STAGES, volumeOf } from './job.js'
import { PROFILES } from './limits.js'
import { pinsOf } from './pins.js'
import { JobFile } from './schema.js'
import { standbyOf } from './standby.js'
import { vinWarning } from './vin.js'

/**
 * Reads a job file.
 *
 * @param fileName as the person named it, for messages
 * @throws StopError naming the line, the field, what was found and what is allowed
 */
export function parseJob(text: string, fileName: string): Job {
  checkKind(text, 'job', fileName)
  const file = readDocument(JobFile, text, fileName)
  const limits = limitsOf(file.limits)
  const { maker, model, year, vin, plate } = file.vehicle
  return {
    name: file.name,
    vehicle: { maker: maker ?? null, model, year: year ?? null, vin: vin ?? null, plate: plate ?? null },
    platform: file.platform ?? null,
    jobNumber: file.job_number ?? null,
    technician: file.technician ?? null,
    customer: file.customer ?? null,
    rigPath: file.rig ?? null,
    source: file.source ?? null,
    track: { sampleRateHz: file.track.sample_rate_hz, bits: file.track.bits },
    volumeStep: file.volume_step ?? null,
    extraTakes: inOrder(file.extra_takes),
    stages: STAGES.filter((stage) => file.stages.includes(stage)),
    outputs: file.outputs.map((output) => outputOf(output, limits)),
    sums: file.sums,
    flat: flatOf(file),
    amplifiers: amplifiersOf(file),
    gains: gainsOf(file),
    pins: pinsOf(file.pins),
    standby: standbyOf(file.standby),
    chimes: chimesOf(file.chimes),
    engine: engineSpecOf(file.engine),
    limits,
    warnings: warningsOf(file),
  }
}

/** The engine last: until then nobody needs to think of its exhaust, and it cannot whine in another take. */
const inOrder = (takes: readonly ExtraTake[]): ExtraTake[] => [
  ...takes.filter((take) => take === 'fader_front'),
  ...takes.filter((take) => volumeOf(take) !== null),
  ...takes.filter((take) => take === 'engine_running'),
]

/**
 * Where an output's level is read when the job does not say.
 *
 * 1 kHz if the band holds it with an octave to spare at each limited edge; else the middle of the band on a
 * logarithmic scale, 20 Hz and 20 kHz standing for missing edges, to three digits.
 */
export function defaultReferenceHz(lowHz: number | null, highHz: number | null): number {
  if ((lowHz === null || 2 * lowHz <= 1000) && (highHz === null || highHz >= 2000)) return 1000
  const middleHz = Math.sqrt((lowHz ?? 20) * (highHz ?? 20_000))
  const roundHz = Number(middleHz.toPrecision(3))
  // In a very narrow band the rounded value may fall outside.
  return roundHz >= (lowHz ?? 0) && roundHz <= (highHz ?? Number.POSITIVE_INFINITY) ? roundHz : middleHz
}

function outputOf(output: JobFile['outputs'][number], limits: Limits): OutputSpec {
  const { shape } = output.band
  const crossover = { shape, lowHz: output.band.low_hz ?? null, highHz: output.band.high_hz ?? null }
  const { lowHz, highHz } = cornersOf(crossover)
  return {
    number: output.number,
    label: output.label,
    leftGain: output.left,
    rightGain: output.right,
    lowHz,
    highHz,
    crossover,
    levelVrms: vrms(output.level_vrms),
    levelToleranceDb: output.tolerance_db ?? limits.levelToleranceDb,
    polarity: output.polarity === 'normal' ? 1 : -1,
    faderGroup: output.fader,
    delayS: output.delay_ms / 1000,
    pair: output.pair ?? null,
    referenceHz: output.reference_hz ?? defaultReferenceHz(lowHz, highHz),
  }
}

function limitsOf(file: JobFile['limits']): Limits {
  const profile = PROFILES[file.profile]
  return {
    profile: profile.profile,
    levelToleranceDb: file.level_tolerance_db ?? profile.levelToleranceDb,
    pairBalanceDbMax: file.pair_balance_db_max ?? profile.pairBalanceDbMax,
    flatnessDbMax: file.flatness_db_max ?? profile.flatnessDbMax,
    delayToleranceS: file.delay_tolerance_ms === undefined ? profile.delayToleranceS : file.delay_tolerance_ms / 1000,
    thdPctMax: file.thd_pct_max ?? profile.thdPctMax,
    thdNPctMax: file.thd_n_pct_max ?? profile.thdNPctMax,
    noiseDbvMax: file.noise_dbv_max ?? profile.noiseDbvMax,
    noiseDbvAMax: file.noise_dbv_a_max ?? profile.noiseDbvAMax,
    humDbvMax: file.hum_dbv_max ?? profile.humDbvMax,
    crosstalkDbMax: file.crosstalk_db_max ?? profile.crosstalkDbMax,
    deadDbBelow: file.dead_db_below ?? profile.deadDbBelow,
    meterAgreementDbMax: file.meter_agreement_db_max ?? profile.meterAgreementDbMax,
    imdPctMax: file.imd_pct_max ?? profile.imdPctMax,
    cleanLevelDbfsMin: file.clean_level_dbfs_min ?? profile.cleanLevelDbfsMin,
    noise468DbvMax: file.noise_468_dbv_max ?? profile.noise468DbvMax,
    dynamicRangeDbMin: file.dynamic_range_db_min ?? profile.dynamicRangeDbMin,
    delaySpreadSMax: file.delay_spread_ms_max === undefined ? profile.delaySpreadSMax : file.delay_spread_ms_max / 1000,
    gainChangeDbMax: file.gain_change_db_max ?? profile.gainChangeDbMax,
    loudnessDbMax: file.loudness_db_max ?? profile.loudnessDbMax,
    whineDbvMax: file.whine_dbv_max ?? profile.whineDbvMax,
    engineRiseDbMax: file.engine_rise_db_max ?? profile.engineRiseDbMax,
    sumFlatnessDbMax: file.sum_flatness_db_max ?? profile.sumFlatnessDbMax,
    calibrationAgeDaysMax: file.calibration_age_days_max ?? profile.calibrationAgeDaysMax,
  }
}

function warningsOf(file: JobFile): string[] {
  const warnings: string[] = []
  const aboutVin = file.vehicle.vin === undefined ? null : vinWarning(file.vehicle.vin)
  if (aboutVin !== null) warnings.push(aboutVin)
  if (file.extra_takes.includes('fader_front') && file.outputs.every((output) => output.fader === 'none')) {
    warnings.push('extra_takes asks for fader_front, but no output has a fader group: that take tells nothing.')
  }
  return warnings
}
