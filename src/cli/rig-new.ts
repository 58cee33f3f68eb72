/** linetrue rig new FILE: makes a rig file by a few questions, or from a file of answers. */
import { access, writeFile } from 'node:fs/promises'
import { createInterface } from 'node:readline/promises'
import { parseDocument } from 'yaml'
import { parseRig } from '../rig/parse.js'
import { rigFileText } from '../rig/rig-file-text.js'
import { StopError } from '../units/stop.js'
import { EXIT } from './exit.js'
import { readText, shown } from './files.js'
import { findAll } from './found.js'
import { type Answers, askAll } from './questions.js'
import { rigAnswersOf } from './rig-answers.js'
import { type Found, rigSteps } from './rig-questions.js'

export interface NewOptions {
  readonly path: string
  readonly answers?: string
}

export async function rigNewCommand(
  { path, answers: answersPath }: NewOptions,
  signal: AbortSignal,
  find: (signal: AbortSignal) => Promise<Found> = findAll,
): Promise<number> {
  if (await isThere(path)) throw alreadyThere(path)
  const given = answersPath === undefined ? new Map<string, string>() : await readAnswers(answersPath)
  const isAttended = process.stdin.isTTY === true
  if (!isAttended && answersPath === undefined) {
    throw new StopError(
      'a person is asked a few questions',
      'no terminal to answer from',
      'Run it in a terminal, or give the answers: --answers FILE, a YAML file such as { capture: simulated }.',
    )
  }
  const say = (line: string): void => {
    process.stderr.write(`${line}\n`)
  }
  if (isAttended) say('Looking at what is plugged in …')
  const found = await find(signal)
  const answers = await askAll(
    rigSteps(found),
    {
      given,
      givenWhere: answersPath === undefined ? 'the answers' : shown(answersPath),
      ask: isAttended ? askLine : null,
      say,
      columnCount: process.stderr.columns ?? 80,
    },
    signal,
  )
  const text = rigFileText(rigAnswersOf(answers))
  // Whatever the questions let through that the file may not hold is said as for any rig file.
  parseRig(text, shown(path))
  await writeNew(path, text)
  process.stdout.write(`Written ${shown(path)}\nNext: linetrue rig check ${shown(path)}\n`)
  return EXIT.pass
}

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

/** @throws StopError when the file is missing, or holds anything but names with one value each */
async function readAnswers(path: string): Promise<Answers> {
  const document = parseDocument(await readText(path, 'answers file', 'Check the path given to --answers.'))
  const [error] = document.errors
  const line = error?.linePos?.[0].line
  const remedy = 'Write one answer a line, by the name of its question: input_count: 8'
  if (error) throw new StopError(error.message.split('\n')[0], line ? `${shown(path)}:${line}` : shown(path), remedy)
  const value: unknown = document.toJS()
  if (value === null) return new Map()
  const isMap = typeof value === 'object' && !Array.isArray(value)
  const entries = isMap ? Object.entries(value) : []
  const bad = entries.find(([, answer]) => !['string', 'number', 'boolean'].includes(typeof answer))
  if (!isMap || bad) {
    throw new StopError(bad ? `"${bad[0]}" has no single value` : 'these are no answers', shown(path), remedy)
  }
  return new Map(entries.map(([name, answer]) => [name, String(answer)]))
}

const isThere = (path: string): Promise<boolean> =>
  access(path).then(
    () => true,
    () => false,
  )

const alreadyThere = (path: string): StopError =>
  new StopError(
    'there is such a file already, and it stays as it is',
    shown(path),
    'Name another file, or edit this one.',
  )

async function writeNew(path: string, text: string): Promise<void> {
  try {
    await writeFile(path, text, { flag: 'wx' })
  } catch (cause) {
    const code = (cause as NodeJS.ErrnoException).code
    if (code === 'EEXIST') throw alreadyThere(path)
    const says: Record<string, string> = {
      ENOENT: 'the folder of this file is not there',
      EACCES: 'the file may not be written',
      EROFS: 'the file may not be written',
      ENOSPC: 'the disk is full',
      ENOTDIR: 'the folder of this file is not there',
    }
    const what = says[code ?? ''] ?? `the file cannot be written (${code})`
    throw new StopError(what, shown(path), 'Name a file in a folder that you may write to.', 'input', { cause })
  }
}
