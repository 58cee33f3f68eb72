/**
 * What is handed over of a result, as one document that page and PDF both show: the shop's report, the customer's page, the
 * tuner's page.
 */
import type { Result } from '../verdict/result.js'
import { type Before, beforeAfterSection } from './before-after.js'
import { customerBody } from './customer-page.js'
import { firstPage } from './first-page.js'
import { VERDICT_WORDS } from './format.js'
import { type Markup, markup } from './markup.js'
import { chartsSection, checksSection } from './outputs-section.js'
import {
  cautionsSection,
  methodsSection,
  rigSection,
  settingsSection,
  signaturesSection,
  takesSection,
} from './record-section.js'
import { stagesSection } from './stages-section.js'
import type { PageSize } from './style.js'
import { sumsSection } from './sums-section.js'
import { tunerBody } from './tuner-page.js'
import { vehicleSection } from './vehicle-section.js'

export const AUDIENCES = ['shop', 'customer', 'tuner'] as const
export type Audience = (typeof AUDIENCES)[number]

export interface Paper {
  readonly title: string
  readonly body: Markup
  readonly program: string
  readonly isSimulated: boolean
}

/**
 * @param before the run that this one is held against, or null
 * @param pageSize left out: so that it fits either paper
 */
export function paperFor(audience: Audience, result: Result, before: Before | null, pageSize?: PageSize): Paper {
  const { job, verdict, program, isSimulated } = result
  const named = [job.vehicle, job.jobNumber && `job ${job.jobNumber}`, isSimulated && 'simulated'].filter(Boolean)
  const title = (first: string): string => [first, ...named].join(' · ')
  const page = { program, isSimulated }
  if (audience === 'customer')
    return { ...page, title: title('Your audio system'), body: customerBody(result, before?.result ?? null) }
  if (audience === 'tuner') return { ...page, title: title("Tuner's page"), body: tunerBody(result) }
  return { ...page, title: title(VERDICT_WORDS[verdict]), body: shopBody(result, before, pageSize) }
}

function shopBody(result: Result, before: Before | null, pageSize?: PageSize): Markup {
  const hasOutputs = result.outputs.length > 0
  const places = [
    ['findings', 'What to do'],
    ...(hasOutputs ? [['outputs', 'Outputs']] : []),
    ...(before ? [['before-after', 'Before and after']] : []),
    ...(result.stages.length > 0 ? [['stages', 'Stages']] : []),
    ['vehicle', 'Vehicle and rig'],
    ...(hasOutputs
      ? [
          ['charts', 'Each output'],
          ['checks', 'Checks'],
        ]
      : []),
    ['rig', 'Record'],
  ] as [string, string][]
  return markup`${firstPage(result, places, pageSize)}
${before ? beforeAfterSection(before, result) : null}
${stagesSection(result.stages)}
${vehicleSection(result)}
${sumsSection(result)}
${hasOutputs ? [chartsSection(result), checksSection(result)] : null}
${rigSection(result)}
${settingsSection(result)}
${takesSection(result)}
${methodsSection(result)}
${cautionsSection(result)}
${signaturesSection(result)}
</main>
<footer><p>Made by ${result.program} from result format ${result.version}. The same figures stand in result.json beside this file.</p></footer>`
}
