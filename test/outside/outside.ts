/** What the tests against outside tools share: a folder, the tools, and the track as a file. */
import { spawnSync } from 'node:child_process'
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { writeWavFile } from '../../src/instruments/take-file.js'
import { renderTrack } from '../../src/stimulus/render.js'
import type { Audio } from '../../src/units/audio.js'

/** Tests here move files of 40 s with programs of their own: on a busy machine that takes a while. */
export const PATIENT_MS = 120_000

export interface Workshop {
  readonly folder: string
  /** Path of a file in the folder. */
  at(name: string): string
  remove(): void
}

export function openWorkshop(name: string): Workshop {
  const folder = mkdtempSync(join(tmpdir(), `linetrue-${name}-`))
  return { folder, at: (file) => join(folder, file), remove: () => rmSync(folder, { recursive: true, force: true }) }
}

/**
 * Runs a tool to its end and returns what it wrote to stderr, where sox and ffmpeg put their statistics.
 * @throws Error with that text when it fails
 */
export function run(tool: string, ...args: readonly string[]): string {
  const { status, stderr, error } = spawnSync(tool, args, { encoding: 'utf8', stdio: ['ignore', 'ignore', 'pipe'] })
  if (error) throw error
  if (status !== 0) throw new Error(`${tool} ${args.join(' ')} ended with ${status}: ${stderr}`)
  return stderr
}

/** -R: the same dither each time. -V1: only what went wrong. */
export const sox = (...args: readonly string[]): string => run('sox', '-R', '-V1', ...args)
export const ffmpeg = (...args: readonly string[]): string => run('ffmpeg', '-v', 'error', '-nostdin', '-y', ...args)

const rendered = new Map<number, Promise<Audio>>()

/** The track as it is rendered; kept, since several files are made of it. */
export function trackAt(sampleRateHz: number): Promise<Audio> {
  const track = rendered.get(sampleRateHz) ?? renderTrack(sampleRateHz)
  rendered.set(sampleRateHz, track)
  return track
}

/** The track as a file, as the command writes it. */
export async function writeTrack(path: string, sampleRateHz: number, bits: 16 | 24): Promise<string> {
  await writeWavFile(path, await trackAt(sampleRateHz), bits, 1)
  return path
}
