/** The words of `linetrue job`: a new job, the map of a platform, a vehicle against it. */
import type { Command } from 'commander'
import { AS_IT_WAS, exitAfter } from './exit.js'

interface LearnWords {
  readonly out: string
  readonly rig?: string
  readonly recording: string[]
  readonly outputs?: string
  readonly platform?: string
  readonly answers?: string
  readonly anyway?: boolean
}

export function addJobCommands(program: Command): void {
  const job = program
    .command('job')
    .description('make a job, learn the channel map of a platform, hold a vehicle against it')
    .helpCommand(false)

  job
    .command('new')
    .description('make a job file by a few questions')
    .argument('<file>', 'job file to write; one that is there stays as it is')
    .option('--answers <file>', 'YAML file of answers by name, for what is not to be asked')
    .option('--map <file>', "map of the vehicle's platform: its outputs are not asked for")
    .action((path: string, options: { answers?: string; map?: string }) =>
      exitAfter(async (signal) => {
        const { jobNewCommand } = await import('./job-new.js')
        return jobNewCommand({ path, ...options }, signal)
      }, AS_IT_WAS),
    )

  job
    .command('learn')
    .description('write the channel map of a platform, measured on vehicles that are known to be good')
    .argument('[runs...]', 'run folders, or jobs that stand for their newest finished run; one for each vehicle')
    .requiredOption('--out <map>', 'map file to write; one that is there stays as it is')
    .option('--rig <file>', 'rig file that recordings were made with')
    .option(
      '--recording <file>',
      'WAV file of outputs of which nothing is known; once for each patch, in order, or as PATCH=FILE',
      (value: string, earlier: string[]) => [...earlier, value],
      [] as string[],
    )
    .option('--outputs <count>', 'how many outputs the recordings hold; default: all inputs of the rig')
    .option('--platform <name>', 'name of the platform; default: the one that the jobs name')
    .option('--answers <file>', 'YAML file of labels by output: label_1: front left')
    .option('--anyway', 'learn from a run that did not pass; the map says so')
    .action((runs: string[], options: LearnWords) =>
      exitAfter(async (signal) => {
        const { jobLearnCommand } = await import('./job-learn.js')
        return jobLearnCommand({ runs, ...options }, signal)
      }, AS_IT_WAS),
    )

  job
    .command('compare')
    .description('say what of a vehicle differs from the map of its platform')
    .argument('<run>', 'run folder, or a job that stands for its newest finished run')
    .argument('<map>', 'map of the platform')
    .action((run: string, map: string) =>
      exitAfter(async (signal) => {
        const { jobCompareCommand } = await import('./job-compare.js')
        return jobCompareCommand(run, map, signal)
      }, AS_IT_WAS),
    )
}
