/** Colour for a terminal. It only underlines what the words say already, so it can be left out. */
import pc from 'picocolors'
import type { Verdict } from '../verdict/parts.js'

export interface Paint {
  readonly verdict: (verdict: Verdict, text: string) => string
  readonly quiet: (text: string) => string
  readonly strong: (text: string) => string
}

export function paintFor(isColour: boolean): Paint {
  const { bold, dim, green, red, yellow } = pc.createColors(isColour)
  const byVerdict = {
    pass: green,
    fail: (text: string) => bold(red(text)),
    unsure: (text: string) => bold(yellow(text)),
  }
  return { verdict: (verdict, text) => byVerdict[verdict](text), quiet: dim, strong: bold }
}
