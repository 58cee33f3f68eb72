/** An answers file: one answer a line, by the name of its question. */
import { parseDocument } from 'yaml'
import { StopError } from '../units/stop.js'
import { readText, shown } from './files.js'
import type { Answers } from './questions.js'

/** @throws StopError when the file is missing, or holds anything but names with one value each */
export async function readAnswers(path: string): Promise<Answers> {
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
