/** The command as a person runs it: as `npm test` has built it; where a source is newer, from a build of its own. */
import { execFile, execFileSync } from 'node:child_process'
import { cpSync, existsSync, mkdirSync, readdirSync, readFileSync, statSync, symlinkSync } from 'node:fs'
import { join, resolve } from 'node:path'
import { Result } from '../../src/verdict/result.js'

export interface Ended {
  readonly status: number
  readonly out: string
  readonly err: string
}

export interface LinetrueCommand {
  /** Runs it with these arguments, its working folder being cwd. */
  run(args: readonly string[], cwd: string): Promise<Ended>
}

/**
 * @param folder where a build of its own would go; it has to be there
 * @throws Error with the compiler's words when src does not compile
 */
export function buildCommand(folder: string): LinetrueCommand {
  const root = resolve('.')
  const main = isBuilt(root) ? join(root, 'dist', 'cli', 'main.js') : buildIn(folder, root)
  return {
    run: (args, cwd) =>
      new Promise((done) => {
        execFile(process.execPath, [main, ...args], { cwd, maxBuffer: 1e8 }, (error, out, err) => {
          done({ status: error ? Number(error.code ?? -1) : 0, out, err })
        })
      }),
  }
}

/** No source was changed since the last whole build. */
function isBuilt(root: string): boolean {
  const built = statSync(join(root, 'dist', '.tsbuildinfo'), { throwIfNoEntry: false })
  const sources = readdirSync(join(root, 'src'), { recursive: true, encoding: 'utf8' })
  return built !== undefined && sources.every((path) => statSync(join(root, 'src', path)).mtimeMs <= built.mtimeMs)
}

/** @returns path of the command in a build of its own, in which no other build gets in the way */
function buildIn(folder: string, root: string): string {
  const home = join(folder, 'program')
  mkdirSync(home)
  cpSync(join(root, 'package.json'), join(home, 'package.json'))
  symlinkSync(join(root, 'node_modules'), join(home, 'node_modules'))
  const compiler = join(root, 'node_modules', '.bin', 'tsc')
  const target = ['--outDir', join(home, 'dist'), '--tsBuildInfoFile', join(home, 'dist', '.tsbuildinfo')]
  try {
    execFileSync(compiler, ['-p', 'tsconfig.build.json', ...target], { cwd: root, encoding: 'utf8', stdio: 'pipe' })
  } catch (error) {
    throw new Error(`src does not compile:\n${(error as { stdout?: string }).stdout}`)
  }
  return join(home, 'dist', 'cli', 'main.js')
}

/** The result that a run left, held against its own published shape. */
export function resultIn(folder: string): Result {
  const path = join(folder, 'result.json')
  if (!existsSync(path)) throw new Error(`no result in ${folder}`)
  return Result.parse(JSON.parse(readFileSync(path, 'utf8')))
}

export function figureIn(
  output: Result['outputs'][number],
  quantity: string,
): Result['outputs'][number]['figures'][number] {
  const figure = output.figures.find((one) => one.quantity === quantity)
  if (!figure) throw new Error(`output ${output.number} has no figure for ${quantity}`)
  return figure
}
