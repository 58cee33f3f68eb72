/** linetrue job learn RUN… --out MAP: writes the channel map of a platform from vehicles that are known to be good. */
import type { OutputLabel } from '../job/platform.js'
import { parseMap } from '../job/platform-schema.js'
import { mapText } from '../job/platform-text.js'
import { type BlindOutput, blindLevel, blindOutput, passbandVrms } from '../measure/blind-output.js'
import { median } from '../measure/passband.js'
import { mapSummary } from '../report/map-text.js'
import { ratioFromDb } from '../units/level.js'
import { StopError } from '../units/stop.js'
import { inHz, inVolts, listed } from '../units/words.js'
import { type LearnedVehicle, learnMap } from '../verdict/learn-map.js'
import { EXIT } from './exit.js'
import { shown } from './files.js'
import { type NamedVehicle, numbersIn, runFolderOf, vehicleOfRecordings, vehicleOfRun } from './map-runs.js'
import { answeringBy, askedFor, checkNew, writeNew } from './new-file.js'
import { oneLineOf } from './one-line.js'
import type { Answers, Step } from './questions.js'
import { Screen } from './screen.js'

export interface LearnOptions {
  readonly runs: readonly string[]
  readonly out: string
  readonly rig?: string
  readonly recording: readonly string[]
  readonly outputs?: string
  readonly platform?: string
  readonly answers?: string
  /** Learn of a vehicle that is not known to be good. */
  readonly anyway?: boolean
}

/** So far below the others an input hears leakage, and no output. */
const DEAD_DB_BELOW = 30

export async function jobLearnCommand(options: LearnOptions, signal: AbortSignal): Promise<number> {
  const screen = new Screen()
  await checkNew(options.out)
  try {
    const vehicles = await vehiclesOf(options, screen, signal)
    const platform = samePlatform(vehicles, options.platform)
    checkOutputs(vehicles)
    const read: LearnedVehicle[] = []
    for (const vehicle of vehicles) read.push(await readBlind(vehicle, screen))
    const heard = read[0].outputs.map(({ lead }) => lead.outputNumber)
    const labels = vehicles[0].labels.filter(({ number }) => heard.includes(number))
    screen.clear()
    const answers = await answersTo(
      learnSteps(platform, options.platform, labels, read[0]),
      options,
      vehicles[0],
      signal,
    )
    const named = labels.map((label) => ({ ...label, label: answers.get(`label_${label.number}`)! }))
    const map = learnMap(answers.get('platform')!, named, read, vehicles.flatMap(notesOn))
    const text = mapText(map)
    // Whatever the file may not hold is said as for any map.
    parseMap(text, shown(options.out))
    await writeNew(options.out, text)
    process.stdout.write(
      `${mapSummary(map, screen)}\n\nWritten ${shown(options.out)}\nNext: linetrue job new FILE --map ${shown(options.out)}\n`,
    )
    return EXIT.pass
  } finally {
    screen.clear()
  }
}

async function vehiclesOf(options: LearnOptions, screen: Screen, signal: AbortSignal): Promise<NamedVehicle[]> {
  const { runs, rig, recording, outputs, anyway } = options
  if (runs.length > 0 && recording.length > 0) {
    throw new StopError('both runs and recordings are given', 'linetrue job learn', 'Give the one or the other.')
  }
  if (recording.length > 0) {
    if (rig === undefined) {
      const remedy = 'Add --rig FILE: the rig that the recordings were made with.'
      throw new StopError('recordings without a rig', 'linetrue job learn', remedy)
    }
    const outputCount = outputs === undefined ? null : Number(outputs)
    const request = { rigPath: rig, recordings: recording, outputCount, now: new Date() }
    return [await vehicleOfRecordings(request, screen.progress, signal)]
  }
  if (runs.length === 0) {
    const remedy = 'Name a finished run or a job that has one; or give --rig RIG and --recording FILE.'
    throw new StopError('nothing is named to learn from', 'linetrue job learn', remedy)
  }
  const folders: string[] = []
  for (const run of runs) {
    const folder = await runFolderOf(run)
    if (folders.includes(folder)) throw new StopError('this run is named twice', shown(folder), 'Name each run once.')
    folders.push(folder)
  }
  const vehicles: NamedVehicle[] = []
  for (const folder of folders) {
    const vehicle = await vehicleOfRun(folder, screen.progress, signal)
    if (vehicle.source.verdict !== 'pass' && anyway !== true) {
      throw new StopError(
        `this run is not known to be good: ${vehicle.summary}`,
        shown(folder),
        'Learn from a run that passes. If only its job did not know the map, add --anyway: the map will say so.',
      )
    }
    vehicles.push(vehicle)
  }
  return vehicles
}

/** @returns null where no vehicle names one */
function samePlatform(vehicles: readonly NamedVehicle[], given: string | undefined): string | null {
  const names = [...new Set(vehicles.flatMap(({ platform }) => (platform === null ? [] : [platform])))]
  const other = given === undefined ? names[1] : names.find((name) => name !== given)
  if (other !== undefined) {
    throw new StopError(
      `vehicles of different platforms: "${given ?? names[0]}" and "${other}"`,
      listed(vehicles.map(({ source }) => source.run)),
      'Learn one map from vehicles of one platform.',
    )
  }
  return names[0] ?? null
}

/** @throws StopError where an output of a run gives nothing; an input of recordings is left out, and said */
async function readBlind({ source, labels, isBlind, measure }: NamedVehicle, screen: Screen): Promise<LearnedVehicle> {
  const found = (await measure()).flatMap((lead) => blindOutput(lead) ?? [])
  const usualVrms = found.length === 0 ? 0 : median(found.map(passbandVrms))
  const outputs = found.filter((one) => passbandVrms(one) > usualVrms * ratioFromDb(-DEAD_DB_BELOW))
  const dead = labels.filter(({ number }) => !outputs.some(({ lead }) => lead.outputNumber === number))
  if (dead.length > 0 && (!isBlind || outputs.length === 0)) {
    throw new StopError(
      `nothing of the track comes out of ${listed(dead.map(({ number, label }) => (isBlind ? label : `${number} ${label}`)))}`,
      source.run,
      'A map is learned from a vehicle whose outputs all work.',
    )
  }
  if (dead.length > 0) {
    screen.say(`Left out, for nothing of the track is heard there: ${listed(dead.map(({ label }) => label))}.`)
  }
  return { source, outputs }
}

/** @throws StopError where the vehicles have different outputs */
function checkOutputs(vehicles: readonly NamedVehicle[]): void {
  const [first] = vehicles
  const odd = vehicles.find(({ labels }) => numbersIn(labels) !== numbersIn(first.labels))
  if (!odd) return
  throw new StopError(
    `the vehicles have different outputs: ${numbersIn(first.labels)} and ${numbersIn(odd.labels)}`,
    `${first.source.run} and ${odd.source.run}`,
    'Learn one map from vehicles of one platform.',
  )
}

const LABEL_LENGTH_MAX = 40
const PLATFORM_LENGTH_MAX = 80

function learnSteps(
  platform: string | null,
  given: string | undefined,
  labels: readonly OutputLabel[],
  { source, outputs }: LearnedVehicle,
): Step[] {
  const usual = given ?? platform ?? source.vehicle.slice(0, PLATFORM_LENGTH_MAX)
  return [
    () => ({
      name: 'platform',
      asks: 'What do all vehicles with this channel map have in common?',
      why: 'The map carries this name. Usual: model, years and sound system.',
      usual,
      check: oneLineOf(PLATFORM_LENGTH_MAX),
    }),
    ...labels.map(
      ({ number, label }): Step =>
        (answers) => ({
          name: `label_${number}`,
          asks: `What does output ${number} feed?`,
          why: `It gives ${carriedBy(outputs.find(({ lead }) => lead.outputNumber === number)!)}.`,
          usual: label,
          check: oneLineOf(LABEL_LENGTH_MAX, labelsIn(answers, labels, number)),
        }),
    ),
  ]
}

const labelsIn = (answers: Answers, labels: readonly OutputLabel[], number: number): string[] =>
  labels.flatMap((other) => (other.number === number ? [] : (answers.get(`label_${other.number}`) ?? [])))

function carriedBy(output: BlindOutput): string {
  const { leftGain, rightGain, low, high } = output
  const sides = rightGain === 0 ? 'the left side' : leftGain === 0 ? 'the right side' : 'both sides'
  const band =
    low || high ? `${low ? inHz(low.hz) : 'the lowest'} to ${high ? inHz(high.hz) : 'the highest'}` : 'all of the band'
  return `${sides}, ${band}, ${inVolts(10 ** (blindLevel(output).value / 20))}`
}

/** A run knows its names: asked is only where there is a file of answers, or nothing to go by. */
async function answersTo(
  steps: readonly Step[],
  { answers }: LearnOptions,
  { isBlind }: NamedVehicle,
  signal: AbortSignal,
): Promise<Answers> {
  if (!isBlind && answers === undefined) {
    const none = new Map<string, string>()
    return new Map(steps.map((step) => step(none)!).map(({ name, usual }) => [name, usual]))
  }
  const answering = await answeringBy(answers, '{ label_1: front left }')
  return askedFor(steps, { ...answering, isAttended: answering.isAttended && answers === undefined }, signal)
}

function notesOn({ source, summary, isSimulated }: NamedVehicle): string[] {
  const { run, verdict } = source
  return [
    ...(isSimulated ? [`${run} is a simulated vehicle.`] : []),
    ...(verdict === 'fail' || verdict === 'unsure'
      ? [`${run} is not known to be good (${verdict}), and was learned from anyway: ${summary}`]
      : []),
  ]
}
