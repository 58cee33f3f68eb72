/** The words of `linetrue archive`; the work is loaded when it is asked for. */
import { type Command, Option } from 'commander'
import type { QueryOptions } from './archive-query.js'
import { exitAfter } from './exit.js'

/** What a stop leaves of a command that only reads. */
const ONLY_READ = 'Nothing in the archive was changed.'

export function addArchiveCommands(program: Command, version: string): void {
  const archive = program
    .command('archive')
    .description('find, show, compare, check and export what was measured before')
    .helpCommand(false)
  const add = (name: string, says: string): Command =>
    archive
      .command(name)
      .description(says)
      .option('--archive <folder>', 'folder that holds the jobs; default: captures, here or above')
  const asked = (command: Command): Command =>
    command
      .argument('[words...]', 'words that begin so, anywhere in what is known of a run')
      .option('--vin <text>', 'VIN: its beginning or its end')
      .option('--plate <text>', 'plate: its beginning or its end')
      .option('--number <text>', 'job number: its beginning or its end')
      .option('--platform <text>', 'platform')
      .option('--technician <text>', 'technician')
      .option('--customer <text>', 'customer')
      .option('--from <day>', 'first day: 2026-04-01')
      .option('--to <day>', 'last day')
      .addOption(new Option('--verdict <verdict>', 'only these').choices(['pass', 'fail', 'unsure']))
      .option('--finding <kind>', 'kind of a finding: dead, weak, swapped, inverted, humming …; or its words')
  const run = (work: (signal: AbortSignal) => Promise<number>): Promise<void> => exitAfter(work, ONLY_READ)

  asked(add('find', 'find runs; the newest come first'))
    .option('--limit <count>', 'at most so many', '50')
    .option('--json', 'as JSON, a run a line')
    .action((words: string[], options: QueryOptions & { limit: string; json?: boolean }) =>
      run(async (signal) => (await import('./archive-find.js')).findCommand(words, options, signal)),
    )
  add('show', 'show the result of a run')
    .argument('<run>', 'folder of the run or of its job, name of the run, or job number')
    .action((name: string, options: QueryOptions) =>
      run(async (signal) => (await import('./archive-show.js')).showCommand(name, options, signal)),
    )
  add('open', 'print where the report of a run lies, and open it where there is a desktop')
    .argument('<run>', 'folder of the run or of its job, name of the run, or job number')
    .action((name: string, options: QueryOptions) =>
      run(async (signal) => (await import('./archive-show.js')).openCommand(name, options, signal)),
    )
  add('compare', 'hold two runs against each other, figure by figure')
    .argument('<a>', 'the earlier run')
    .argument('<b>', 'the later run')
    .option('--all', 'every figure, not only those that changed')
    .action((a: string, b: string, options: QueryOptions & { all?: boolean }) =>
      run(async (signal) => (await import('./archive-compare.js')).compareCommand(a, b, options, signal)),
    )
  asked(add('export', 'write the figures of all runs that are found'))
    .addOption(new Option('--format <format>', 'how').choices(['csv', 'json']).default('csv'))
    .option('--out <file>', 'file to write; default: to the screen or a pipe')
    .option('--private', 'leave out technician, customer, VIN, plate, and names that may tell of them')
    .action((words: string[], options: QueryOptions & { format: string; out?: string; private?: boolean }) =>
      run(async (signal) => (await import('./archive-export.js')).exportCommand(words, options, signal)),
    )
  add('check', 'see whether every run is as it was when it ended')
    .option('--json', 'as JSON')
    .action((options: QueryOptions & { json?: boolean }) =>
      run(async (signal) => (await import('./archive-check.js')).checkCommand(options, signal)),
    )
  add('remeasure', "measure a run's takes again with today's methods; the run stays as it is")
    .argument('<run>', 'folder of the run or of its job, name of the run, or job number')
    .option('--all', 'every figure, not only those that moved')
    .action((name: string, options: QueryOptions & { all?: boolean }) =>
      run(async (signal) => (await import('./archive-remeasure.js')).remeasureCommand(name, options, version, signal)),
    )
  asked(add('trends', 'spread of level, noise and standby current over the vehicles of a platform, as a page and CSV'))
    .requiredOption('--out <folder>', 'folder for trends.html and trends.csv')
    .option('--private', 'name vehicles by their runs alone')
    .action((words: string[], options: QueryOptions & { out: string; private?: boolean }) =>
      run(async (signal) => (await import('./archive-trends.js')).trendsCommand(words, options, signal)),
    )
  add('index', 'make the index anew from the folders').action((options: QueryOptions) =>
    run(async (signal) => (await import('./archive-find.js')).indexCommand(options, signal)),
  )
}
