/** Kinds of fields that several files share, and the way to add a check between fields. */
import { z } from 'zod'
import type { Path } from './tree.js'

/** One line of text without control characters; spaces around it are taken off. */
export const textField = (characterCountMax = 80) =>
  z
    .string()
    .trim()
    .min(1)
    .max(characterCountMax)
    .superRefine((text, context) => {
      if (!/[\p{Cc}\p{Zl}\p{Zp}]/u.test(text)) return
      complain(context, [], 'text holds a line break or a control character', 'Write it on one line.')
    })

/** A whole number in a range, both ends included. */
export const countField = (min: number, max: number) => z.int().min(min).max(max)

/** A number in a range, both ends included. */
export const numberField = (min: number, max: number) => z.number().min(min).max(max)

/** Adds a problem from inside a superRefine, at a path relative to the value that is checked. */
export function complain(
  context: { addIssue(issue: z.core.$ZodSuperRefineIssue): void },
  path: Path,
  what: string,
  remedy: string,
): void {
  context.addIssue({ code: 'custom', path: [...path], message: what, params: { remedy } })
}
