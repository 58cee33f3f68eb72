/** One line that tells how far a run is. */
import { clean, cut, padded } from './text.js'

/** What a run tells of itself; null where it is not known. */
export interface ProgressShown {
  /** "playing and capturing", "measuring". */
  readonly step: string
  /** Which patch or file; may be empty. */
  readonly detail: string
  readonly doneS: number | null
  readonly totalS: number | null
}

export interface ProgressOptions {
  readonly columnCount: number
  /** The line is rewritten in place: then it tells the seconds left and shows a bar. */
  readonly isLive: boolean
}

const BAR_COLUMNS = 20

/** Never wider than columnCount - 1: a full line would wrap in some terminals. */
export function progressLine(
  { step, detail, doneS, totalS }: ProgressShown,
  { columnCount, isLive }: ProgressOptions,
): string {
  const room = Math.max(20, columnCount - 1)
  const what = [step, detail].map(clean).filter(Boolean).join(': ')
  if (!isLive) return cut(totalS === null || totalS <= 0 ? what : `${what} (${whole(totalS)} s)`, room)
  if (doneS === null) return cut(`${what} …`, room)
  if (totalS === null || totalS <= 0) return cut(`${what}  ${whole(doneS)} s`, room)
  const share = Math.min(1, Math.max(0, doneS / totalS))
  const left = whole(Math.ceil(Math.max(0, totalS - doneS)))
  // As wide at the end as at the start, so that the bar doesn't move.
  const seconds = `${padded(left, whole(Math.ceil(totalS)).length, 'right')} s left`
  const filled = Math.round(share * BAR_COLUMNS)
  const bar = `[${'='.repeat(filled)}${' '.repeat(BAR_COLUMNS - filled)}]`
  const tail = room >= BAR_COLUMNS + seconds.length + 24 ? `  ${bar} ${seconds}` : `  ${seconds}`
  return cut(what, room - tail.length) + tail
}

const whole = (timeS: number): string => Math.max(0, timeS).toFixed(0)
