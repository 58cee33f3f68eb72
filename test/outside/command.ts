/** The command as a person runs it: built once into a folder of its own, so that no other build gets in the way. */
import { execFile, execFileSync } from 'node:child_process'
import { cpSync, existsSync, mkdirSync, readFileSync, symlinkSync } from 'node:fs'
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
 * @param folder where the program goes; it has to be there
 * @throws Error with the compiler's words when src does not compile
 */
export function buildCommand(folder: string): LinetrueCommand {
  const root = resolve('.')
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
  const main = join(home, 'dist', 'cli', 'main.js')
  return {
    run: (args, cwd) =>
      new Promise((done) => {
        execFile(process.execPath, [main, ...args], { cwd, maxBuffer: 1e8 }, (error, out, err) => {
          done({ status: error ? Number(error.code ?? -1) : 0, out, err })
        })
      }),
  }
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
