/**
 * linetrue rig calibrate RIG, linetrue rig limits RIG: checks the rig itself, and keeps what it finds beside the rig file.
 *
 * Each command replaces its own part of the calibration file and leaves the others as they are.
 */
import { basename, dirname } from 'node:path'
import { writeAside } from '../archive/safe-write.js'
import { limitsText, type RigTextOptions, voltsText } from '../report/rig-terminal.js'
import { type Calibration, emptyCalibration, type Feed, type Made } from '../rig/calibration.js'
import { calibrationText } from '../rig/calibration-file.js'
import { parseRig } from '../rig/parse.js'
import { isStartedByHand, type Rig } from '../rig/rig.js'
import type { Bench } from '../rig/roles.js'
import type { OnProgress } from '../stages/progress.js'
import { calibrateVolts } from '../stages/rig-calibrate.js'
import { measureLimits } from '../stages/rig-limits.js'
import { StopError } from '../units/stop.js'
import { calibrationPathOf, loadCalibration } from './calibration.js'
import { EXIT } from './exit.js'
import { type Loaded, readText, shown } from './files.js'
import { openBenchOf } from './rig-open.js'
import { Screen } from './screen.js'

export interface RigOptions {
  readonly rigPath: string
  readonly feed: string
  readonly isAttended: boolean
  readonly version: string
}

export interface CalibrateOptions extends RigOptions {
  /** Further frequencies, as written: 60,6300. */
  readonly freq?: string
  readonly readings: string
}

export async function rigLimitsCommand(options: RigOptions, signal: AbortSignal): Promise<number> {
  const feed = feedOf(options.feed, ['all', 'each', 'both'])
  return checkRig(options, limitsText, signal, async (bench, rig, made, onProgress) => {
    return measureLimits(bench, { rig, feed, made }, onProgress, signal)
  })
}

export async function rigCalibrateCommand(options: CalibrateOptions, signal: AbortSignal): Promise<number> {
  const feed = feedOf(options.feed, ['all', 'each'])
  const othersHz = (options.freq ?? '')
    .split(',')
    .filter((text) => text.trim() !== '')
    .map((text) => numberOf(text, '--freq', 20, 20_000))
  const readingCount = numberOf(options.readings, '--readings', 3, 100)
  return checkRig(options, voltsText, signal, async (bench, rig, made, onProgress) => ({
    volts: await calibrateVolts(
      bench,
      { rig, feed, othersHz, readingCount: Math.round(readingCount), made },
      onProgress,
      signal,
    ),
  }))
}

/** Opens the rig, measures, merges what was found into the calibration file and shows it. */
async function checkRig(
  { rigPath, isAttended, version }: RigOptions,
  inWords: (calibration: Calibration, options: RigTextOptions) => string,
  signal: AbortSignal,
  measure: (
    bench: Bench,
    rig: Rig,
    made: Pick<Made, 'madeAt' | 'program'>,
    onProgress: OnProgress,
  ) => Promise<Partial<Calibration>>,
): Promise<number> {
  const text = await readText(rigPath, 'rig file', 'Check the path of the rig file.')
  const rig: Loaded<Rig> = { value: parseRig(text, shown(rigPath)), text, path: rigPath }
  checkUsable(rig)
  const before = await loadCalibration(rig, true)
  const path = calibrationPathOf(rig)
  if (before && before.value.rigName !== rig.value.name) {
    throw new StopError(
      `this calibration is of another rig, "${before.value.rigName}"`,
      shown(path),
      'Move it away, or name another file with "calibration" in the rig file.',
    )
  }
  const screen = new Screen()
  let bench: Bench | null = null
  try {
    bench = await openRig(rig, screen, isAttended, signal)
    const made = { madeAt: `${new Date().toISOString().slice(0, 19)}Z`, program: `linetrue ${version}` }
    const found = await measure(bench, rig.value, made, screen.progress)
    signal.throwIfAborted()
    const calibration = { ...(before?.value ?? emptyCalibration(rig.value.name)), ...found }
    await writeAside(dirname(path), basename(path), calibrationText(calibration))
    screen.clear()
    const { isColour, columnCount } = screen
    process.stdout.write(`${inWords(calibration, { isColour, columnCount, path: shown(path) })}\n`)
    return EXIT.pass
  } finally {
    screen.clear()
    await bench?.close()
  }
}

/** @throws StopError when the rig has no card or no player of its own */
function checkUsable({ value, path }: Loaded<Rig>): void {
  if (value.capture.driver === 'recording') {
    const remedy = 'Name a rig with a card: capture: { driver: pulse }, player: { driver: computer }.'
    throw new StopError('this rig is for recordings made elsewhere, there is no card to check', shown(path), remedy)
  }
  if (isStartedByHand(value.player)) {
    const remedy = 'Name a rig with player: { driver: computer }: the rig is checked with its own output.'
    throw new StopError('this rig has no player of its own', shown(path), remedy)
  }
}

async function openRig(rig: Loaded<Rig>, screen: Screen, isAttended: boolean, signal: AbortSignal): Promise<Bench> {
  if (rig.value.capture.driver !== 'simulated') {
    screen.say(
      'Caution: take amplifiers, speakers and headphones off this output: full-level tones follow a quiet probe.',
    )
  }
  const ask = (prompt: string, stop: AbortSignal): Promise<void> => screen.ask(prompt, isAttended, stop)
  return openBenchOf(rig, ask, (says) => screen.say(says), signal)
}

function feedOf<Allowed extends Feed>(text: string, allowed: readonly Allowed[]): Allowed {
  const found = allowed.find((one) => one === text)
  if (found) return found
  throw new StopError(`"${text}" is no way to feed the inputs`, '--feed', `Use one of ${allowed.join(', ')}.`)
}

function numberOf(text: string, option: string, min: number, max: number): number {
  const value = Number(text)
  if (text.trim() !== '' && value >= min && value <= max) return value
  throw new StopError(`"${text}" is not a number from ${min} to ${max}`, option, `Allowed: ${min} to ${max}.`)
}
