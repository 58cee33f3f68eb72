/**
 * Recordings that cannot be used, made by sox, ffmpeg and by cutting bytes: each ends with exit status 3 and one clear
 * line, leaves no run folder and touches no earlier one.
 */

import { createHash } from 'node:crypto'
import { existsSync, mkdirSync, readdirSync, readFileSync, statSync, truncateSync, writeFileSync } from 'node:fs'
import { join, relative } from 'node:path'
import { afterAll, beforeAll, describe, expect, test } from 'vitest'
import { writeWavFile } from '../../src/instruments/take-file.js'
import { TRACK_REVISION } from '../../src/stimulus/layout.js'
import { renderTrack } from '../../src/stimulus/render.js'
import { everyNth, some } from '../long.js'
import { missingTools, needsTool } from '../tools.js'
import { buildCommand, type Ended, type LinetrueCommand } from './command.js'
import { ffmpeg, openWorkshop, PATIENT_MS, sox, writeTrack } from './outside.js'
import { effectsOf, jobText, record, rigText, type Wire } from './wires.js'

const PAIR: readonly Wire[] = [
  { number: 1, label: 'left', left: 1, right: 0, gain: 0.5 },
  { number: 2, label: 'right', left: 0, right: 1, gain: 0.4 },
]

const workshop = openWorkshop('bad')
afterAll(() => workshop.remove())
const { at } = workshop
/** Holds the job and an earlier run; new runs would be made in it. */
const jobFolder = at('job')
let linetrue: LinetrueCommand
/** The stereo track, 48 kHz and 24 bits, and the same as both outputs of the vehicle give it. */
let track: string
let good: string
let before: string[]

/** Every file and folder in a folder, with its bytes and the time of its last change. */
function contentsOf(folder: string): string[] {
  return readdirSync(folder, { recursive: true, withFileTypes: true })
    .map((entry) => {
      const path = join(entry.parentPath, entry.name)
      const digest = entry.isDirectory() ? 'folder' : createHash('sha256').update(readFileSync(path)).digest('hex')
      return `${relative(folder, path)} ${digest} ${statSync(path).mtimeMs}`
    })
    .sort()
}

beforeAll(async () => {
  linetrue = buildCommand(workshop.folder)
  mkdirSync(jobFolder)
  writeFileSync(join(jobFolder, 'job.yaml'), jobText(PAIR, { sampleRateHz: 48_000, bits: 24 }))
  writeFileSync(at('rig.yaml'), rigText(2))
  const live = rigText(2).replace('driver: recording', 'driver: pulse, sample_rate_hz: 48000').replace('none', 'stick')
  writeFileSync(at('card.yaml'), live)
  const patches = 'patches:\n  - { name: front, leads: { 1: 1 } }\n  - { name: rear, leads: { 1: 2 } }\n'
  writeFileSync(at('patches.yaml'), rigText(1) + patches)
  track = await writeTrack(at('track.wav'), 48_000, 24)
  if (missingTools('sox').length > 0) return
  good = record(workshop, track, PAIR.map(effectsOf), 'good.wav', ['pad', '1', '1'])
  const { status, err } = await linetrue.run(
    ['verify', jobFolder, '--rig', at('rig.yaml'), '--recording', good],
    workshop.folder,
  )
  // Whatever is found wrong below is wrong with the recording, then: an untouched one passes.
  if (status !== 0) throw new Error(`the good recording ended with ${status}: ${err}`)
  before = contentsOf(jobFolder)
  if (!before.some((line) => line.includes('result.json'))) throw new Error('the earlier run left no result')
}, PATIENT_MS)

const verify = (...args: string[]): Promise<Ended> => linetrue.run(['verify', jobFolder, ...args], workshop.folder)

/**
 * The line that was said, after the checks that every refusal has to stand: status, one line, no stack, nothing left.
 * Before it, only lines that tell how far the run is.
 */
function lineOf({ status, out, err }: Ended): string {
  const lines = err.split('\n').filter((line) => line !== '')
  expect(err).not.toMatch(/^\s+at /m)
  expect(lines.slice(0, -1).filter((line) => !/^(reading|measuring)\b/.test(line))).toEqual([])
  expect(out).toBe('')
  expect(status).toBe(3)
  expect(contentsOf(jobFolder)).toEqual(before)
  const line = lines.at(-1)!
  // What, where, what to do.
  expect(line).toMatch(/^linetrue: .+ \(.+\)\. [A-Z].+\.$/)
  return line
}

interface Bad {
  readonly name: string
  readonly file: string
  readonly tools: readonly ('sox' | 'ffmpeg')[]
  /** Makes the file. */
  readonly make: (path: string) => unknown
  readonly says: string | RegExp
  readonly rig?: string
}

const copyCut = (path: string, byteCount: number): void => {
  writeFileSync(path, readFileSync(track))
  truncateSync(path, byteCount)
}

/** The same samples under another rate, as a machine plays them that does not look at the file's. */
async function playedAs(path: string, trackHz: 44_100 | 48_000, asHz: number): Promise<void> {
  await writeTrack(path, trackHz, 16)
  const bytes = readFileSync(path)
  // Rate: offset 24 (RIFF).
  expect(bytes.readUInt32LE(24)).toBe(trackHz)
  bytes.writeUInt32LE(asHz, 24)
  writeFileSync(path, bytes)
}

const FORMAT = ['-r', '48000', '-c', '2', '-b', '24']
const CASES: readonly Bad[] = [
  {
    name: 'a text file',
    file: 'text.wav',
    tools: [],
    make: (path) => writeFileSync(path, 'take one, Tuesday\n'),
    says: 'this is not a WAV file: it looks like text (text.wav). Convert it to WAV',
  },
  {
    name: 'an empty file',
    file: 'empty.wav',
    tools: [],
    make: (path) => writeFileSync(path, ''),
    says: 'the file is empty (empty.wav). Record it again',
  },
  {
    name: 'a FLAC file under the name of a WAV',
    file: 'flac.wav',
    tools: ['ffmpeg'],
    make: (path) => ffmpeg('-i', track, '-f', 'flac', path),
    says: 'this is not a WAV file: it looks like FLAC (flac.wav). Convert it to WAV',
  },
  {
    name: 'an MP3 file',
    file: 'take.mp3',
    tools: ['ffmpeg'],
    make: (path) => ffmpeg('-i', track, '-b:a', '128k', path),
    says: 'this is not a WAV file: it looks like MP3 (take.mp3). Convert it to WAV',
  },
  {
    name: 'a WAV file that holds ADPCM',
    file: 'adpcm.wav',
    tools: ['ffmpeg'],
    make: (path) => ffmpeg('-i', track, '-c:a', 'adpcm_ms', path),
    says: 'the WAV file is compressed: it holds Microsoft ADPCM (adpcm.wav). Record uncompressed PCM',
  },
  {
    name: 'a WAV file of 8 bits',
    file: 'eight.wav',
    tools: ['sox'],
    make: (path) => sox(track, '-b', '8', path, 'vol', '0.5'),
    says: 'the file holds 8-bit whole numbers (eight.wav). Record with 16, 24 or 32 bits',
  },
  {
    name: 'a file cut inside its header',
    file: 'header.wav',
    tools: [],
    make: (path) => copyCut(path, 30),
    says: 'the file ends inside its header, after 30 bytes (header.wav). Copy it again',
  },
  {
    // 6 bytes a frame, 48 000 of them a second, behind a header of 68: 6 000 000 bytes hold 20.83 s.
    name: 'a file cut inside its samples',
    file: 'data.wav',
    tools: [],
    make: (path) => copyCut(path, 6_000_000),
    says: 'the file ends after 20.8 s, before its header says so: it was cut short (data.wav). Copy the recording again',
  },
  {
    name: 'one channel for two inputs',
    file: 'mono.wav',
    tools: ['sox'],
    make: (path) => sox(track, path, 'remix', '1'),
    says: 'the recording has 1 channel, patch 1 uses input 2 (mono.wav). Record all inputs',
  },
  {
    name: '44.1 kHz where the rig says 48',
    file: 'other rate.wav',
    tools: ['sox'],
    make: (path) => sox(track, '-r', '44100', path, 'vol', '0.5'),
    says: 'the recording is at 44.1 kHz, the rig says 48 kHz (other rate.wav). Record at the rate of the rig',
    rig: 'card.yaml',
  },
  {
    name: '22.05 kHz',
    file: 'half rate.wav',
    tools: ['sox'],
    make: (path) => sox(track, '-r', '22050', path, 'vol', '0.5'),
    says: 'the recording is at 22.05 kHz, the track needs 44.1 kHz or more (half rate.wav). Record at 44.1 kHz',
  },
  {
    name: 'digital silence',
    file: 'silence.wav',
    tools: ['sox'],
    make: (path) => sox('-D', '-n', ...FORMAT, path, 'trim', '0', '45'),
    says: 'the take is silent: 45.0 s, 2 inputs, no sample above -84 dBFS (silence.wav). Check that the track was playing',
  },
  {
    name: 'the noise of open inputs',
    file: 'open.wav',
    tools: ['sox'],
    make: (path) => sox('-n', ...FORMAT, path, 'synth', '45', 'whitenoise', 'whitenoise', 'vol', '-90dB'),
    says: 'the take is silent: 45.0 s, 2 inputs, no sample above -84 dBFS (open.wav). Check that the track was playing',
  },
  {
    name: 'white noise without a track',
    file: 'white.wav',
    tools: ['sox'],
    make: (path) => sox('-n', ...FORMAT, path, 'synth', '45', 'whitenoise', 'whitenoise', 'vol', '-20dB'),
    says: /no track found in 45\.0 s of 2 inputs: the nearest fit of a marker was \d+ % at [\d.]+ s \(white\.wav\)\. Check/,
  },
  {
    // As music does, it holds every frequency in about the share that a chirp of growing speed has.
    name: 'pink noise without a track',
    file: 'pink.wav',
    tools: ['sox'],
    make: (path) => sox('-n', ...FORMAT, path, 'synth', '120', 'pinknoise', 'pinknoise', 'vol', '-20dB'),
    says: /no track found in 120\.0 s of 2 inputs: the nearest fit of a marker was \d+ % at [\d.]+ s \(pink\.wav\)\. Check/,
  },
  {
    name: 'a track of an older revision',
    file: 'older.wav',
    tools: [],
    make: async (path) => writeWavFile(path, await renderTrack(48_000, 0), 24, 1),
    says: `the track is of an older revision: 0, this program measures ${TRACK_REVISION} (older.wav). Make the track anew`,
  },
  {
    name: 'the first half only',
    file: 'first half.wav',
    tools: ['sox'],
    make: (path) => sox(track, path, 'trim', '0', '20'),
    says: /the track is cut short: it begins at 0\.0 s, the recording ends 19\.\d s before it does \(first half\.wav\)\. Record/,
  },
  {
    name: 'the second half only',
    file: 'second half.wav',
    tools: ['sox'],
    make: (path) => sox(track, path, 'trim', '20'),
    says: /the track's beginning is missing: its closing marker is at 18\.\d s, .+ \(second half\.wav\)\. Start the recording/,
  },
  {
    name: 'a track that was paused for 2 s',
    file: 'paused.wav',
    tools: ['sox'],
    make: (path) => sox(track, path, 'pad', '2@15'),
    says: /the markers are 39\.30 s apart, the track's are 37\.30 s: it stood still for 2\.0 s between the left sweep and the right sweep, from [\d.]+ to [\d.]+ s into the take \(paused\.wav\)\. The track was paused/,
  },
  {
    name: 'a track of 44.1 kHz played as 48',
    file: 'fast.wav',
    tools: [],
    make: (path) => playedAs(path, 44_100, 48_000),
    // 48 / 44.1 = 108.8 %.
    says: 'the track runs at 108.8 % of its speed: a 44.1 kHz track played as 48 kHz (fast.wav). Set player',
  },
  {
    name: 'a track of 48 kHz played as 44.1',
    file: 'slow.wav',
    tools: [],
    make: (path) => playedAs(path, 48_000, 44_100),
    says: 'the track runs at 91.9 % of its speed: a 48 kHz track played as 44.1 kHz (slow.wav). Set player',
  },
  {
    name: 'a file that is not there',
    file: 'nowhere.wav',
    tools: [],
    make: () => {},
    says: 'there is no such file (nowhere.wav). Check the path.',
  },
  {
    name: 'a folder',
    file: 'folder.wav',
    tools: [],
    make: (path) => mkdirSync(path),
    says: 'this is a folder (folder.wav). Name the WAV file in it.',
  },
]

describe('a recording that cannot be used', () => {
  test.for(everyNth(CASES, 4))('is refused: $name', { timeout: PATIENT_MS }, async (bad, context) => {
    // sox makes the earlier run that has to stay as it is.
    needsTool(context, 'sox', ...bad.tools)
    await bad.make(at(bad.file))
    const line = lineOf(await verify('--rig', at(bad.rig ?? 'rig.yaml'), '--recording', bad.file))
    if (typeof bad.says === 'string') expect(line).toContain(`linetrue: ${bad.says}`)
    else expect(line).toMatch(bad.says)
  })
})

describe('recordings that do not fit the patches', () => {
  const cases = [
    {
      name: 'a good one and a bad one',
      args: ['front=good.wav', 'rear=no.wav'],
      says: /^linetrue: there is no such file \(no\.wav\)\. Check the path\.$/,
    },
    {
      name: 'too many',
      args: ['front=good.wav', 'rear=good.wav', 'good.wav'],
      says: /^linetrue: 3 recordings for 2 takes \(--recording\)\. Give one for each of: front, rear\.$/,
    },
    {
      name: 'too few',
      args: ['good.wav'],
      says: /^linetrue: no recording for rear \(.*2\) \(--recording\)\. Give --recording once for each patch/,
    },
    {
      name: 'under an unknown name',
      args: ['front=good.wav', 'side=good.wav'],
      says: /^linetrue: there is no patch "side" \(--recording\)\. Use one of: front, rear\.$/,
    },
    {
      name: 'two under one name',
      args: ['front=good.wav', 'front=good.wav'],
      says: /^linetrue: "front" has two recordings \(--recording\)\. Give one file for each patch\.$/,
    },
  ]
  // All of them without the command: cli/recordings.test.ts.
  test.for(some(cases, 1))('are refused: $name', { timeout: PATIENT_MS }, async ({ args, says }, context) => {
    needsTool(context, 'sox')
    const named = args.flatMap((text) => ['--recording', text])
    expect(lineOf(await verify('--rig', at('patches.yaml'), ...named))).toMatch(says)
  })
})

describe('the folder named by --out', () => {
  const bad = (): string[] => {
    writeFileSync(at('bad.wav'), 'no recording\n')
    return ['--rig', at('rig.yaml'), '--recording', 'bad.wav']
  }

  test('is not left behind by a refused recording, nor are the folders made on the way', async (context) => {
    needsTool(context, 'sox')
    lineOf(await verify(...bad(), '--out', at('new/deep/run')))
    expect(existsSync(at('new'))).toBe(false)
  })

  test('stays when it was there before', async (context) => {
    needsTool(context, 'sox')
    mkdirSync(at('mine'))
    lineOf(await verify(...bad(), '--out', at('mine')))
    expect(existsSync(at('mine'))).toBe(true)
    expect(readdirSync(at('mine'))).toEqual([])
  })

  test('is refused when it holds a result', async (context) => {
    needsTool(context, 'sox')
    const [earlier] = readdirSync(jobFolder).filter((name) => name !== 'job.yaml')
    const args = ['--rig', at('rig.yaml'), '--recording', good, '--out', join(jobFolder, earlier)]
    expect(lineOf(await verify(...args))).toMatch(
      /^linetrue: this folder already holds a result \(.+\)\. Name a new folder/,
    )
  })

  test('keeps a file of the same name that someone else put there', { timeout: PATIENT_MS }, async (context) => {
    needsTool(context, 'sox')
    mkdirSync(at('theirs'))
    writeFileSync(at('theirs/rig.yaml'), 'not of this run\n')
    const { err } = await verify('--rig', at('rig.yaml'), '--recording', good, '--out', at('theirs'))
    expect(readFileSync(at('theirs/rig.yaml'), 'utf8')).toBe('not of this run\n')
    expect(err).not.toMatch(/^\s+at /m)
  })

  test('is refused when it is a file', async (context) => {
    needsTool(context, 'sox')
    writeFileSync(at('file'), '')
    expect(lineOf(await verify(...bad(), '--out', at('file')))).toMatch(/\(.*file\)/)
  })
})
