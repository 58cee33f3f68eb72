#!/usr/bin/env node
/**
 * The command. It only knows its words; the work is loaded when it is asked for, so that help comes at once.
 *
 * Exit status: 0 pass, 1 fail, 2 unsure, 3 bad input or usage, 4 an instrument, the machine, or a person stopped the run.
 */
import { existsSync } from 'node:fs'
import { Command, CommanderError } from 'commander'
import { addArchiveCommands } from './archive-words.js'
import { AS_IT_WAS, EXIT, exitAfter } from './exit.js'
import { addJobCommands } from './job-words.js'
import { addStageCommands } from './stage-words.js'

const VERSION = '0.1.0'

const program = new Command('linetrue')
  .description(
    "Verifies a vehicle's line outputs: plays the track, captures, measures, judges, reports. A job alone does all its stages.",
  )
  .version(VERSION, '--version', 'print the version')
  .helpOption('--help', 'print help')
  .helpCommand(false)
  .addHelpText(
    'after',
    '\nExit status: 0 pass, 1 fail, 2 unsure, 3 bad input, 4 an instrument, the machine, or Ctrl-C.',
  )
  .configureOutput({ outputError: (text, write) => write(text.replace(/^error: /, 'linetrue: ')) })
  .exitOverride()

program
  .command('verify')
  .description('verify all outputs of a vehicle against its job')
  .argument('<job>', 'job file, or the folder that holds job.yaml')
  .option('--rig <file>', 'rig file; default: the one that the job names')
  .option(
    '--recording <file>',
    'WAV file of a take made elsewhere; once for each patch, in order, or as PATCH=FILE',
    (value: string, earlier: string[]) => [...earlier, value],
    [] as string[],
  )
  .option('--out <folder>', "folder for takes, result and report; default: a new one in the job's folder")
  .option('--fresh', 'begin a new run, though there is an unfinished one to go on with')
  .option('--yes', 'take every prompt as done: leads are connected, the head unit is set')
  .action((job: string, options: { rig?: string; recording: string[]; out?: string; fresh?: boolean; yes?: boolean }) =>
    exitAfter(async (signal) => {
      const { verifyCommand } = await import('./verify.js')
      return verifyCommand({ jobPath: job, ...options, isAttended: options.yes !== true, version: VERSION }, signal)
    }),
  )

addStageCommands(program, VERSION)
addArchiveCommands(program, VERSION)
addJobCommands(program)

program
  .command('track')
  .description('write the test track as a WAV file, for a stick, a disc or a phone')
  .argument('<job>', 'job file, or the folder that holds job.yaml')
  .requiredOption('--out <file>', 'WAV file to write')
  .action((job: string, options: { out: string }) =>
    exitAfter(async (signal) => {
      const { trackCommand } = await import('./track.js')
      return trackCommand(job, options.out, signal)
    }),
  )

const rig = program.command('rig').description('set up the rig and check it, without a vehicle').helpCommand(false)

rig
  .command('devices')
  .description('list the cards, outputs and serial ports of this computer, as they go into a rig file')
  .action(() =>
    exitAfter(async (signal) => {
      const { rigDevicesCommand } = await import('./rig-devices.js')
      return rigDevicesCommand(signal)
    }, AS_IT_WAS),
  )

rig
  .command('new')
  .description('make a rig file by a few questions')
  .argument('<file>', 'rig file to write; one that is there stays as it is')
  .option('--answers <file>', 'YAML file of answers by name, for what is not to be asked')
  .action((path: string, options: { answers?: string }) =>
    exitAfter(async (signal) => {
      const { rigNewCommand } = await import('./rig-new.js')
      return rigNewCommand({ path, ...options }, signal)
    }, AS_IT_WAS),
  )

rig
  .command('check')
  .description('see whether each input hears the player, rate and bits are as said, and the meter answers')
  .argument('<rig>', 'rig file')
  .option('--yes', 'take every prompt as done')
  .action((rigPath: string, options: { yes?: boolean }) =>
    exitAfter(async (signal) => {
      const { rigCheckCommand } = await import('./rig-check.js')
      return rigCheckCommand({ rigPath, isAttended: options.yes !== true }, signal)
    }, AS_IT_WAS),
  )

rig
  .command('levels')
  .description('show the levels of all inputs while leads are being moved; q or Ctrl-C ends')
  .argument('<rig>', 'rig file')
  .option('--tone', 'play a quiet tone meanwhile: 997 Hz at -40 dBFS')
  .option('--for <seconds>', 'end by itself after so long')
  .action((rigPath: string, options: { tone?: boolean; for?: string }) =>
    exitAfter(async (signal) => {
      const { rigLevelsCommand } = await import('./rig-levels.js')
      return rigLevelsCommand({ rigPath, ...options }, signal)
    }, AS_IT_WAS),
  )

rig
  .command('calibrate')
  .description("hold each input's volts against the meter, and keep them in the calibration file")
  .argument('<rig>', 'rig file')
  .option('--feed <how>', 'all inputs in parallel, or each by itself with the meter moved along', 'all')
  .option('--freq <list>', 'frequencies besides 997 Hz that the meter is specified at: 60,6300')
  .option('--readings <count>', 'readings of the meter at the reference', '5')
  .option('--yes', 'take every prompt as done')
  .action((rigPath: string, options: { feed: string; freq?: string; readings: string; yes?: boolean }) =>
    exitAfter(async (signal) => {
      const { rigCalibrateCommand } = await import('./rig.js')
      const isAttended = options.yes !== true
      return rigCalibrateCommand({ rigPath, ...options, isAttended, version: VERSION }, signal)
    }, AS_IT_WAS),
  )

rig
  .command('limits')
  .description(
    "measure the rig's own noise, distortion, response, match and crosstalk: inputs shorted, then looped back",
  )
  .argument('<rig>', 'rig file')
  .option('--feed <how>', 'all inputs in parallel, each by itself (slow), or both: in parallel, then each', 'both')
  .option('--yes', 'take every prompt as done')
  .action((rigPath: string, options: { feed: string; yes?: boolean }) =>
    exitAfter(async (signal) => {
      const { rigLimitsCommand } = await import('./rig.js')
      return rigLimitsCommand({ rigPath, ...options, isAttended: options.yes !== true, version: VERSION }, signal)
    }, AS_IT_WAS),
  )

program
  .command('report')
  .description('write the report of a run anew: for the shop, the customer or the tuner, as a page or a PDF')
  .argument('<run>', 'folder of the run')
  .option('--for <reader>', 'shop, customer or tuner', 'shop')
  .option('--pdf', 'a PDF in place of a page')
  .option('--paper <size>', "a4 or letter; default: as the computer's language has it")
  .option('--before <run>', 'folder of an earlier run to hold it against; default: the one that it retests')
  .option('--out <file>', 'file to write; default: one in this folder, named after the run')
  .action((run: string, options: { for: string; pdf?: boolean; paper?: string; before?: string; out?: string }) =>
    exitAfter(async () => {
      const { reportCommand } = await import('./report.js')
      return reportCommand({ run, reader: options.for, ...options })
    }, AS_IT_WAS),
  )

program
  .command('schema')
  .description('print the JSON Schema of a file: job, map, rig, calibration, faults or result')
  .argument('<file>', 'job, map, rig, calibration, faults or result')
  .action((name: string) =>
    exitAfter(async () => {
      const { schemaCommand } = await import('./schema.js')
      return schemaCommand(name)
    }),
  )

/** A word that is neither a command nor a file here: a job alone is a command too, so the parser takes it for one. */
async function unknownWord(): Promise<string | null> {
  const [word] = process.argv.slice(2)
  const names = program.commands.map((command) => command.name())
  if (word === undefined || word.startsWith('-') || names.includes(word) || existsSync(word)) return null
  const { closest, distance } = await import('fastest-levenshtein')
  const near = closest(word, names)
  const hint = distance(word, near) <= 2 ? ` Did you mean ${near}?` : ''
  return `"${word}" is no command, and no job file or folder of that name is here.${hint}`
}

/** The words of the command line that are commands: their help is the one that helps. */
function commandGiven(): string {
  let command = program
  const words = [program.name()]
  for (const word of process.argv.slice(2)) {
    const next = command.commands.find((one) => one.name() === word)
    if (!next) break
    command = next
    words.push(word)
  }
  return words.join(' ')
}

try {
  const unknown = await unknownWord()
  if (unknown !== null) program.error(`linetrue: ${unknown}`)
  await program.parseAsync()
} catch (error) {
  if (!(error instanceof CommanderError)) throw error
  const isAnswer = error.exitCode === 0 || error.code === 'commander.help'
  process.exitCode = error.exitCode === 0 ? 0 : EXIT.input
  if (!isAnswer) process.stderr.write(`See ${commandGiven()} --help.\n`)
}
