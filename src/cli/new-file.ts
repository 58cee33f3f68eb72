/** What commands share that make a new file by asking: the prompt, a file of answers, and a write that never overwrites. */
import { constants } from 'node:fs'
import { access, writeFile } from 'node:fs/promises'
import { dirname } from 'node:path'
import { createInterface } from 'node:readline/promises'
import { StopError } from '../units/stop.js'
import { readAnswers } from './answers.js'
import { shown } from './files.js'
import { type Answers, askAll, type Step } from './questions.js'

const say = (line: string): void => {
  process.stderr.write(`${line}\n`)
}

/** Who answers: what the answers file says, and whether a person is there for the rest. */
export interface Answering {
  readonly given: Answers
  readonly givenWhere: string
  readonly isAttended: boolean
}

/**
 * @param example one answer, as the file has it: { capture: simulated }
 * @throws StopError when there is neither a person nor a file, or the file cannot be read
 */
export async function answeringBy(path: string | undefined, example: string): Promise<Answering> {
  const given: Answers = path === undefined ? new Map<string, string>() : await readAnswers(path)
  const isAttended = process.stdin.isTTY === true
  if (!isAttended && path === undefined) {
    throw new StopError(
      'a person is asked a few questions',
      'no terminal to answer from',
      `Run it in a terminal, or give the answers: --answers FILE, a YAML file such as ${example}.`,
    )
  }
  return { given, givenWhere: path === undefined ? 'the answers' : shown(path), isAttended }
}

/** Asks what the file does not answer; where nobody is there, what is usual counts. */
export const askedFor = (
  steps: readonly Step[],
  { given, givenWhere, isAttended }: Answering,
  signal: AbortSignal,
): Promise<Answers> =>
  askAll(
    steps,
    { given, givenWhere, ask: isAttended ? askLine : null, say, columnCount: process.stderr.columns ?? 80 },
    signal,
  )

/** Shows a text and waits for the line that a person types behind its last line. */
async function askLine(text: string, signal: AbortSignal): Promise<string> {
  const lines = createInterface({ input: process.stdin, output: process.stderr })
  // Ctrl-C inside a prompt reaches the prompt only; hand it on.
  lines.on('SIGINT', () => process.kill(process.pid, 'SIGINT'))
  const closed = new Promise<never>((_, reject) => {
    lines.once('close', () => {
      reject(new StopError('the answers ended before the questions', 'this terminal', 'Give the command again.'))
    })
  })
  try {
    // The prompt itself is one line: what stands above it must not be written anew with every key.
    const at = text.lastIndexOf('\n') + 1
    process.stderr.write(text.slice(0, at))
    return await Promise.race([lines.question(text.slice(at), { signal }), closed])
  } finally {
    closed.catch(() => {})
    lines.close()
  }
}

/**
 * Whether a new file can be made here, before anybody is asked anything.
 * @throws StopError when there is such a file already, or its folder is missing or closed
 */
export async function checkNew(path: string): Promise<void> {
  const isThere = await access(path).then(
    () => true,
    () => false,
  )
  if (isThere) throw alreadyThere(path)
  await access(dirname(path), constants.W_OK).catch((cause) => {
    throw cannotWrite(path, cause)
  })
}

const alreadyThere = (path: string): StopError =>
  new StopError(
    'there is such a file already, and it stays as it is',
    shown(path),
    'Name another file, or edit this one.',
  )

/** @throws StopError when there is such a file already, or it cannot be written */
export async function writeNew(path: string, text: string): Promise<void> {
  try {
    await writeFile(path, text, { flag: 'wx' })
  } catch (cause) {
    throw (cause as NodeJS.ErrnoException).code === 'EEXIST' ? alreadyThere(path) : cannotWrite(path, cause)
  }
}

function cannotWrite(path: string, cause: unknown): StopError {
  const code = (cause as NodeJS.ErrnoException).code
  const says: Record<string, string> = {
    ENOENT: 'the folder of this file is not there',
    EACCES: 'the file may not be written',
    EROFS: 'the file may not be written',
    ENOSPC: 'the disk is full',
    ENOTDIR: 'the folder of this file is not there',
  }
  const what = says[code ?? ''] ?? `the file cannot be written (${code})`
  return new StopError(what, shown(path), 'Name a file in a folder that you may write to.', 'input', { cause })
}
