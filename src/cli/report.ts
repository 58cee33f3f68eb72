/**
 * linetrue report RUN: what is handed over of a run, written anew from its result: for the shop, the customer or the tuner,
 * as a page or a PDF. The run's folder itself is never written to: it is sealed.
 */
import { existsSync } from 'node:fs'
import { basename, dirname, join, resolve } from 'node:path'
import { compareResults } from '../archive/compare.js'
import { readResult } from '../archive/read-result.js'
import { RESULT_FILE } from '../archive/run-folder.js'
import { writeAside } from '../archive/safe-write.js'
import { checkOutsideRuns, DOUBT_WORDS, resultDoubt } from '../archive/seal.js'
import type { Before } from '../report/before-after.js'
import { htmlReport } from '../report/html.js'
import { AUDIENCES, type Audience } from '../report/paper.js'
import { STAGE_WORDS } from '../report/stage-words.js'
import { PAGE_SIZES, type PageSize } from '../report/style.js'
import { StopError } from '../units/stop.js'
import { listed } from '../units/words.js'
import type { Result } from '../verdict/result.js'
import { EXIT } from './exit.js'
import { shown } from './files.js'

export interface ReportOptions {
  readonly run: string
  readonly reader: string
  readonly pdf?: boolean
  readonly paper?: string
  readonly before?: string
  readonly out?: string
}

const SIZES = Object.keys(PAGE_SIZES) as PageSize[]

/** @throws StopError when an option says nothing known, the result cannot be read, or the file is there already */
export async function reportCommand({
  run,
  reader,
  pdf = false,
  paper,
  before: earlier,
  out,
}: ReportOptions): Promise<number> {
  const audience = oneOf<Audience>(reader, AUDIENCES, '--for')
  const pageSize = paper === undefined ? paperOfLocale(process.env) : oneOf(paper.toLowerCase(), SIZES, '--paper')
  const result = await resultIn(run)
  const before = await beforeOf(run, result, earlier)
  const path = resolve(out ?? fileName(run, audience, pdf))
  checkOutsideRuns(path)
  if (existsSync(path)) {
    throw new StopError(
      'there is a file of that name already',
      shown(path),
      'Name another with --out, or move it away.',
    )
  }
  const options = { audience, before, pageSize }
  const content = pdf
    ? await (await import('../report/pdf.js')).pdfReport(result, options)
    : htmlReport(result, options)
  await writeAside(dirname(path), basename(path), content)
  process.stdout.write(`Report  ${shown(path)}\n`)
  if ((await resultDoubt(run)) !== 'changed') return EXIT.pass
  process.stderr.write(`linetrue: ${DOUBT_WORDS.changed}\n`)
  return EXIT.fail
}

function oneOf<Word extends string>(given: string, words: readonly Word[], option: string): Word {
  const word = words.find((one) => one === given)
  if (word === undefined)
    throw new StopError(`there is no "${given}"`, option, `Write ${listed(words).replace(' and ', ' or ')}.`)
  return word
}

const fileName = (run: string, audience: Audience, isPdf: boolean): string =>
  `${basename(resolve(run))}-${audience === 'shop' ? 'report' : audience}.${isPdf ? 'pdf' : 'html'}`

/** Countries whose printers hold Letter, by their codes in ISO 3166-1. */
const LETTER_COUNTRIES = ['US', 'CA', 'MX', 'PH', 'CL', 'CO', 'CR', 'GT', 'NI', 'PA', 'PR', 'SV', 'VE']

/** The paper that goes with the locale, by the variables of POSIX in the order in which they count. */
export function paperOfLocale(environment: Readonly<Record<string, string | undefined>>): PageSize {
  const locale = environment['LC_ALL'] || environment['LC_PAPER'] || environment['LANG'] || ''
  const country = /^[a-z]{2,3}_([A-Z]{2})/.exec(locale)?.[1] ?? ''
  return LETTER_COUNTRIES.includes(country) ? 'letter' : 'a4'
}

async function resultIn(run: string): Promise<Result> {
  const { result, why } = await readResult(run)
  if (result) return result
  throw new StopError(
    existsSync(join(run, RESULT_FILE)) ? why : `this folder holds no ${RESULT_FILE}`,
    shown(run),
    'Name the folder of a run that has ended: captures/NAME/run-DATE-TIME.',
  )
}

/** The run that is named, or the one that this is a retest of, where it still lies there. */
async function beforeOf(run: string, after: Result, named: string | undefined): Promise<Before | null> {
  const own = after.retestOf === null ? null : resolve(dirname(resolve(run)), after.retestOf)
  const folder = named ?? (own && existsSync(join(own, RESULT_FILE)) ? own : null)
  if (folder === null) return null
  const result = await resultIn(folder)
  return { result, changes: changesBetween(result, after) }
}

const changesBetween = (before: Result, after: Result): Before['changes'] =>
  compareResults(before, after).flatMap(({ at: { part, outputNumber, label, name }, a, b, change }) => {
    if (change !== 'changed' || !a || !b) return []
    const stage = part in STAGE_WORDS ? STAGE_WORDS[part as keyof typeof STAGE_WORDS] : 'Vehicle and rig'
    const of = outputNumber === null ? stage : `${outputNumber} ${label}`
    return [{ name, outputNumber, of, before: a, after: b }]
  })
