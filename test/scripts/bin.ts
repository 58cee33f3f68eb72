/** A folder to be a PATH of its own: it holds the named commands and nothing else. */
import { accessSync, constants, mkdirSync, realpathSync, symlinkSync } from 'node:fs'
import { delimiter, join } from 'node:path'

function locate(command: string): string | null {
  for (const folder of (process.env['PATH'] ?? '').split(delimiter)) {
    try {
      accessSync(join(folder, command), constants.X_OK)
      return realpathSync(join(folder, command))
    } catch {
      // Not in this folder of the PATH: look in the next.
    }
  }
  return null
}

/** Makes the folder and links the commands that this machine has into it; returns the folder. */
export function binOf(folder: string, commands: readonly string[]): string {
  mkdirSync(folder, { recursive: true })
  for (const command of commands) {
    const target = command === 'node' ? process.execPath : locate(command)
    if (target) symlinkSync(target, join(folder, command))
  }
  return folder
}
