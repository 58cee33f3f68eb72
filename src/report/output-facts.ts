/** What the views look up in an output. A result says each thing once: in a figure, or in the words of a check. */
import { signed } from '../units/words.js'
import type { Check, Figure, Verdict } from '../verdict/parts.js'
import type { OutputResult } from '../verdict/result.js'

export const figureIn = ({ figures }: OutputResult, quantity: string): Figure | null =>
  figures.find((figure) => figure.quantity === quantity) ?? null

export const checkIn = ({ checks }: OutputResult, name: string): Check | null =>
  checks.find((check) => check.name === name) ?? null

export const verdictIn = (output: OutputResult, checkName: string | null): Verdict =>
  (checkName === null ? null : checkIn(output, checkName)?.verdict) ?? 'pass'

/** Level against the map, "+0.1" dB; of a dead output there is nothing to say. */
export function deviationDbDigits(output: OutputResult): string | null {
  const value = figureIn(output, 'level deviation')?.value
  return value === null || value === undefined ? null : signed(value, 1)
}
