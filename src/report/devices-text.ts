/**
 * The cards, outputs and serial ports of a computer, as a rig file names them: each with lines to copy, what is known of it,
 * and what is missing.
 */
import { stringify } from 'yaml'
import { paintFor } from './paint.js'
import { clean, wrapped } from './text.js'

export interface ShownDevice {
  /** As the rig file has it. */
  readonly driver: string
  readonly name: string
  readonly says: string
  readonly channelCount: number | null
  readonly sampleRateHz: number | null
  readonly notes: readonly string[]
}

export interface ShownFound {
  readonly captures: readonly ShownDevice[]
  readonly players: readonly ShownDevice[]
  readonly ports: readonly { readonly path: string; readonly says: string; readonly serialNumber: string | null }[]
  readonly tools: readonly { readonly name: string; readonly isThere: boolean; readonly notes: readonly string[] }[]
}

export interface DevicesTextOptions {
  readonly isColour: boolean
  readonly columnCount: number
}

const COLUMNS_MIN = 40
const PROSE_COLUMNS_MAX = 100
const INDENT = 4

export function devicesText(found: ShownFound, { isColour, columnCount }: DevicesTextOptions): string {
  const paint = paintFor(isColour)
  const columns = Math.min(PROSE_COLUMNS_MAX, Math.max(COLUMNS_MIN, columnCount))
  const prose = (text: string, indent = INDENT): string[] =>
    wrapped(clean(text), columns - indent).map((line) => ' '.repeat(indent) + line)
  // What is to be copied is never broken: a name with a line break in it is another name.
  const copied = (text: string): string => `  ${paint.strong(clean(text))}`
  const device = ({ driver, name, says, channelCount, sampleRateHz, notes }: ShownDevice): string[] => {
    const facts = [
      ...(says === name ? [] : [says]),
      ...(channelCount === null ? [] : [`${channelCount} channel${channelCount === 1 ? '' : 's'}`]),
      ...(sampleRateHz === null ? [] : [`${sampleRateHz / 1000} kHz`]),
      ...notes,
    ]
    return [copied(`driver: ${driver}, device: ${quoted(name)}`), ...prose(facts.join(', '))]
  }
  const port = ({ path, says, serialNumber }: ShownFound['ports'][number]): string[] => [
    copied(`port: ${quoted(path)}`),
    ...(says === path ? [] : prose(says)),
    ...(serialNumber === null ? [] : prose(`or, to find it at any socket, port: ${quoted(`serial:${serialNumber}`)}`)),
  ]
  const orNone = (lines: readonly string[], none: string): readonly string[] =>
    lines.length > 0 ? lines : prose(none, 2)
  const missing = found.tools.flatMap(({ notes }) => notes)
  const sections = [
    [
      paint.quiet('Cards, for capture:'),
      ...orNone(found.captures.flatMap(device), 'None. Plug the card in and switch it on, then look again.'),
    ],
    [
      paint.quiet('Outputs, for player:'),
      ...orNone(
        found.players.flatMap(device),
        'None. A person can start the track from a stick instead: driver: stick',
      ),
    ],
    [
      paint.quiet('Serial ports, for meter:'),
      ...orNone(found.ports.flatMap(port), 'None. Plug the meter or its adapter in, then look again.'),
    ],
    ...(missing.length === 0 ? [] : [[paint.quiet('Missing:'), ...missing.flatMap((note) => hanging(note, columns))]]),
    [paint.quiet('Next:'), ...prose(nextWords(found), 2)],
  ]
  return sections.map((lines) => lines.join('\n')).join('\n\n')
}

const hanging = (note: string, columns: number): string[] =>
  wrapped(clean(note), columns - INDENT).map((line, i) => `${i === 0 ? '  ' : ' '.repeat(INDENT)}${line}`)

const nextWords = ({ captures }: ShownFound): string =>
  captures.length === 0
    ? 'with the card plugged in, linetrue rig new FILE; to try things out without one, take rigs/simulated.yaml.'
    : 'linetrue rig new FILE makes a rig file of these by a few questions.'

/** Quoted only where YAML needs it. */
const quoted = (text: string): string => stringify(text, { lineWidth: 0 }).trimEnd()
