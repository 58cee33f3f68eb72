/** Child processes of the live tests: none of them outlives the test run. */
import { type ChildProcess, spawn } from 'node:child_process'

export interface Running {
  readonly process: ChildProcess
  /** Everything that it said so far, on both outputs. */
  says(): string
  /** Ends it and waits until it has gone. */
  stop(): Promise<void>
}

const running = new Set<ChildProcess>()
process.on('exit', () => {
  for (const child of running) child.kill('SIGKILL')
})

export function run(
  command: string,
  args: readonly string[],
  options: { env: NodeJS.ProcessEnv; cwd?: string },
): Running {
  const child = spawn(command, args, { ...options, stdio: ['pipe', 'pipe', 'pipe'] })
  running.add(child)
  let said = ''
  const hear = (text: Buffer): void => {
    said += text.toString()
  }
  child.stdout.on('data', hear)
  child.stderr.on('data', hear)
  child.stdin.on('error', () => {})
  const gone = new Promise<void>((resolve) => {
    child.on('error', (error) => {
      said += error.message
      running.delete(child)
      resolve()
    })
    child.on('close', (code, signal) => {
      said += `\n[${command} ended with ${signal ?? `status ${code}`}]`
      running.delete(child)
      resolve()
    })
  })
  return {
    process: child,
    says: () => said,
    async stop() {
      child.kill('SIGTERM')
      const timer = setTimeout(() => child.kill('SIGKILL'), 2000)
      await gone
      clearTimeout(timer)
    },
  }
}

/** Asks again and again until the answer is true. */
export async function until(isSo: () => boolean | Promise<boolean>, limitS: number, says: () => string): Promise<void> {
  const endMs = performance.now() + 1000 * limitS
  while (!(await isSo())) {
    if (performance.now() > endMs) throw new Error(`not so within ${limitS} s: ${says()}`)
    await new Promise((resolve) => setTimeout(resolve, 25))
  }
}
