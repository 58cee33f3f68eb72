/** The words of the stages: each by itself, and all that a job consists of, which is what a job alone means. */
import type { Command } from 'commander'
import type { StageName } from '../job/job.js'
import { exitAfter } from './exit.js'

interface Options {
  readonly rig?: string
  readonly out?: string
  readonly fresh?: boolean
  readonly yes?: boolean
  readonly answers?: string
}

const WORDS: readonly (readonly [Exclude<StageName, 'outputs'>, string])[] = [
  ['pins', 'hold the harness against its pin table with the meter, before anything is plugged in'],
  ['flat', 'say whether outputs and sums are flat, and which settings undo what is not'],
  ['gains', "find the head unit's highest clean volume and set each amplifier gain"],
  ['chimes', 'hear whether each chime and warning still comes, and from the right outputs'],
  ['engine', 'hold noise and supply against the engine at several speeds'],
  ['standby', 'watch remote turn-on and supply current while the vehicle wakes and falls asleep'],
]

export function addStageCommands(program: Command, version: string): void {
  const add = (name: string, says: string, only: StageName | null, isDefault = false): void => {
    program
      .command(name, { isDefault })
      .description(says)
      .argument('<job>', 'job file, or the folder that holds job.yaml')
      .option('--rig <file>', 'rig file; default: the one that the job names')
      .option('--out <folder>', "folder for takes, result and report; default: a new one in the job's folder")
      .option('--fresh', 'begin a new run, though there is an unfinished one to go on with')
      .option('--answers <file>', 'YAML file of answers by name, for what is not to be asked')
      .option('--yes', 'take every prompt as done, and what is usual for every question')
      .action((jobPath: string, { yes, ...options }: Options) =>
        exitAfter(async (signal) => {
          const { walkCommand } = await import('./walk.js')
          return walkCommand({ ...options, jobPath, recording: [], isAttended: yes !== true, version }, only, signal)
        }),
      )
  }
  add('walk', 'do all stages of a job, one after the other: what its file lists', null, true)
  for (const [name, says] of WORDS) add(name, says, name)
}
