/** How a run ends on disk: report and summary, then the result, then the seal over everything. */
import type { Result } from '../verdict/result.js'
import { REPORT_FILE, RESULT_FILE } from './run-folder.js'
import { writeAside } from './safe-write.js'
import { sealRun } from './seal.js'
import { SUMMARY_FILE, summaryOf, summaryText } from './summary.js'

/**
 * A folder with a result is a finished run, and one with a seal is never changed again.
 * @throws StopError when it cannot be written
 */
export async function finishRun(folder: string, result: Result, report: string): Promise<void> {
  await writeAside(folder, REPORT_FILE, report)
  await writeAside(folder, SUMMARY_FILE, summaryText(summaryOf(result)))
  await writeAside(folder, RESULT_FILE, `${JSON.stringify(result, null, 1)}\n`)
  // These were read from disk for the result just now.
  const takes = [...result.takes, ...result.stages.flatMap((stage) => stage.takes)]
  await sealRun(folder, new Map(takes.map(({ source, sha256 }) => [source, sha256])))
}
