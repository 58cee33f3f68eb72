/** Runs of the command that are stopped at a step, for the tests of what they leave: two takes, one input. */
import { type ChildProcess, spawn } from 'node:child_process'
import { existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join, resolve } from 'node:path'
import { RunState } from '../../src/archive/run-journal.js'
import { Result } from '../../src/verdict/result.js'
import { JOB, RIG } from '../cli/two-takes.js'

export const COMMAND = resolve('dist/cli/main.js')

export interface Ended {
  /** null after a kill. */
  readonly code: number | null
  readonly out: string
  readonly err: string
}

/** When to strike: a look at what the command has said and written so far. */
export type Step = (said: string, folder: string) => boolean

export const STEPS: Readonly<Record<string, Step>> = {
  'after the first word of the journal': (_, folder) => runsIn(folder).some((run) => existsSync(join(run, 'run.json'))),
  'during take 1': (said, folder) => said.includes('capturing: patch 1') && partByteCount(folder, 'patch-1') > 2e5,
  'after take 1': (said) => said.includes('measuring: patch 1'),
  'during take 2': (said, folder) => said.includes('capturing: patch 2') && partByteCount(folder, 'patch-2') > 2e5,
  'before the result': (said) => said.includes('measuring: patch 2'),
}

export class Campaign {
  readonly root = mkdtempSync(join(tmpdir(), 'linetrue-campaign-'))
  private readonly running = new Set<ChildProcess>()

  /** A job's folder with job and rig, and nothing else. */
  jobFolder(name: string): string {
    const folder = join(this.root, name)
    rmSync(folder, { recursive: true, force: true })
    mkdirSync(folder, { recursive: true })
    writeFileSync(join(folder, 'job.yaml'), JOB)
    writeFileSync(join(folder, 'rig.yaml'), RIG)
    return folder
  }

  verify(folder: string, args: readonly string[] = []): Promise<Ended> {
    return this.strike(
      folder,
      () => false,
      () => {},
      args,
    )
  }

  /** Runs the command, and does something to it once, at a step; fails when it ends before. */
  strike(
    folder: string,
    step: Step,
    blow: (child: ChildProcess) => void,
    args: readonly string[] = [],
  ): Promise<Ended> {
    const child = spawn(process.execPath, [COMMAND, 'verify', '.', ...args], { cwd: folder })
    this.running.add(child)
    let [out, err] = ['', '']
    let isStruck = false
    const look = (): void => {
      if (isStruck || !step(err, folder)) return
      isStruck = true
      clearInterval(watch)
      blow(child)
    }
    const watch = setInterval(look, 1)
    child.stdout.on('data', (text) => {
      out += text
    })
    child.stderr.on('data', (text) => {
      err += text
      look()
    })
    return new Promise((done) => {
      child.on('close', (code) => {
        clearInterval(watch)
        this.running.delete(child)
        done({ code, out, err })
      })
    })
  }

  close(): void {
    for (const child of this.running) child.kill('SIGKILL')
    rmSync(this.root, { recursive: true, force: true })
  }
}

export const runsIn = (folder: string): string[] =>
  readdirSync(folder)
    .filter((name) => name.startsWith('run-'))
    .sort()
    .map((name) => join(folder, name))

export const filesIn = (run: string): string[] =>
  [...readdirSync(run), ...readdirSync(join(run, 'takes')).map((name) => `takes/${name}`)]
    .filter((name) => name !== 'takes')
    .sort()

export const journalIn = (run: string): RunState =>
  RunState.parse(JSON.parse(readFileSync(join(run, 'run.json'), 'utf8')))

export const keptIn = (run: string): string[] =>
  journalIn(run)
    .takes.filter(({ state, file }) => state === 'kept' && existsSync(join(run, file)))
    .map(({ patch }) => patch)

export const resultIn = (run: string): Result =>
  Result.parse(JSON.parse(readFileSync(join(run, 'result.json'), 'utf8')))

/** Everything that was measured and judged, without when and how often the run was begun. */
export function figuresIn(run: string): Omit<Result, 'startedAt' | 'rig'> & { rig: Omit<Result['rig'], 'notes'> } {
  const { startedAt: _, rig, ...rest } = resultIn(run)
  const { notes: __, ...rigRest } = rig
  return { ...rest, rig: rigRest }
}

function partByteCount(folder: string, take: string): number {
  const paths = runsIn(folder).map((run) => join(run, 'takes', `${take}.wav.part`))
  return Math.max(0, ...paths.map((path) => statSync(path, { throwIfNoEntry: false })?.size ?? 0))
}
