/**
 * Tools of the operating system that some tests need.
 *
 * In CI a missing tool fails the test; elsewhere the test is skipped and says which package it waits for.
 */
import { spawnSync } from 'node:child_process'
import { accessSync, constants, existsSync, readdirSync } from 'node:fs'
import { delimiter, join } from 'node:path'

const PACKAGES = {
  sox: 'sox',
  ffmpeg: 'ffmpeg',
  ffprobe: 'ffmpeg',
  socat: 'socat',
  pulseaudio: 'pulseaudio',
  parec: 'pulseaudio-utils',
  pacat: 'pulseaudio-utils',
  pactl: 'pulseaudio-utils',
  arecord: 'alsa-utils',
  aplay: 'alsa-utils',
  'ALSA pulse plugin': 'libasound2-plugins',
  chromium: 'chromium',
  pdftotext: 'poppler-utils',
  pdffonts: 'poppler-utils',
  qpdf: 'qpdf',
  scipy: 'python3-scipy',
  tmux: 'tmux',
} as const

export type Tool = keyof typeof PACKAGES

/** Those of the tools that are not on PATH. */
export function missingTools(...tools: readonly Tool[]): Tool[] {
  const folders = (process.env['PATH'] ?? '').split(delimiter).filter((folder) => folder !== '')
  return tools.filter((tool) =>
    tool === 'scipy'
      ? !hasScipy()
      : tool === 'ALSA pulse plugin'
        ? !hasPulsePlugin()
        : !folders.some((folder) => isExecutable(join(folder, tool))),
  )
}

/** A library, in a folder that is named after the processor. */
function hasPulsePlugin(): boolean {
  const PLUGIN = 'alsa-lib/libasound_module_pcm_pulse.so'
  return (
    existsSync('/usr/lib') && readdirSync('/usr/lib').some((folder) => existsSync(join('/usr/lib', folder, PLUGIN)))
  )
}

/** Debian's own Python has it; another one that stands first on PATH need not. */
function hasScipy(): boolean {
  isScipyThere ??= spawnSync('/usr/bin/python3', ['-c', 'import scipy']).status === 0
  return isScipyThere
}
let isScipyThere: boolean | null = null

/**
 * Call it first in a test: `test('…', (context) => { needsTool(context, 'sox'); … })`.
 *
 * @throws Error in CI when a tool is missing; elsewhere the test ends here as skipped
 */
export function needsTool(context: { skip(note?: string): void }, ...tools: readonly Tool[]): void {
  const missing = missingTools(...tools)
  if (missing.length === 0) return
  const packages = [...new Set(missing.map((tool) => PACKAGES[tool]))].join(' ')
  const says = `needs ${missing.join(', ')}: install the Debian package ${packages}`
  if (process.env['CI']) throw new Error(says)
  context.skip(says)
}

function isExecutable(path: string): boolean {
  try {
    accessSync(path, constants.X_OK)
    return true
  } catch {
    return false
  }
}
