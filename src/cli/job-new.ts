/** linetrue job new FILE: makes a job file by a few questions, from a file of answers, or from the map of its platform. */
import { jobFileText } from '../job/job-file-text.js'
import { parseJob } from '../job/parse.js'
import { parseMap } from '../job/platform-schema.js'
import { EXIT } from './exit.js'
import { readText, shown } from './files.js'
import { jobAnswersOf } from './job-answers.js'
import { jobSteps } from './job-questions.js'
import { answeringBy, askedFor, checkNew, writeNew } from './new-file.js'

export interface JobNewOptions {
  readonly path: string
  readonly answers?: string
  readonly map?: string
}

export async function jobNewCommand({ path, answers, map }: JobNewOptions, signal: AbortSignal): Promise<number> {
  await checkNew(path)
  const answering = await answeringBy(answers, '{ model: Estate, output_count: 8 }')
  const known =
    map === undefined ? null : parseMap(await readText(map, 'map', 'Check the path given to --map.'), shown(map))
  const answered = await askedFor(jobSteps(known), answering, signal)
  const text = jobFileText(jobAnswersOf(answered, known))
  // Whatever the questions let through that the file may not hold is said as for any job.
  const { warnings, stages } = parseJob(text, shown(path))
  await writeNew(path, text)
  for (const warning of warnings) process.stderr.write(`${warning}\n`)
  process.stdout.write(
    `Written ${shown(path)}\nNext: linetrue ${stages.join() === 'outputs' ? 'verify ' : ''}${shown(path)} --rig RIG\n`,
  )
  return EXIT.pass
}
