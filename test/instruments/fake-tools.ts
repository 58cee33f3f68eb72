/** Small shell scripts that stand on PATH for the system's sound tools, for faults that no real device here can have. */
import { mkdtempSync, renameSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { delimiter, join } from 'node:path'

export interface FakeTools {
  readonly folder: string
  /**
   * What was started before goes on with the script that it began with.
   * @param script of a POSIX shell; what goes on for long stands behind exec, so that it can be ended
   */
  set(name: string, script: string): void
  /** Takes them off PATH again. */
  remove(): void
}

export function fakeTools(): FakeTools {
  const folder = mkdtempSync(join(tmpdir(), 'linetrue-fake-'))
  const before = process.env['PATH']
  process.env['PATH'] = `${folder}${delimiter}${before}`
  return {
    folder,
    set(name, script) {
      const path = join(folder, name)
      writeFileSync(`${path}.new`, `#!/bin/sh\n${script}\n`, { mode: 0o755 })
      renameSync(`${path}.new`, path)
    },
    remove() {
      process.env['PATH'] = before
      rmSync(folder, { recursive: true, force: true })
    },
  }
}

/** Script lines: so many seconds of noise of 2 channels of 4 bytes at 48 kHz, at once. */
export const noiseS = (durationS: number, source = '/dev/urandom'): string =>
  `head -c ${durationS * 48_000 * 8} ${source}`
export const complain = (...lines: string[]): string => `cat >&2 <<'LINES'\n${lines.join('\n')}\nLINES`
