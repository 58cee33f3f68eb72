/**
 * The meter of a rig file as a schema: its port, and how the readings of a meter that speaks no SCPI are told from its bytes.
 *
 * Names are the file's, in snake case; `parse-meter.ts` renames them once.
 */
import { z } from 'zod'
import { complain, countField, numberField, textField } from '../document/fields.js'
import { FRAME_KINDS, LINE_FORMS, METER_FUNCTIONS } from './meter-spec.js'

const PARTS = ['value', 'unit', 'function', 'overload']

const PatternField = z.strictObject({
  form: z.enum(LINE_FORMS).optional().describe('A ready-made form in place of line'),
  line: textField(300)
    .optional()
    .describe(
      'Regular expression of a whole line, with the named parts (?<value>…) (?<unit>…) (?<function>…) (?<overload>…)',
    ),
  ask: z
    .string()
    .min(1)
    .max(80)
    .optional()
    .describe('Text that makes the meter print, its line end included: "READ?\\r\\n"; left out: it prints by itself'),
  unit: textField(10).optional().describe('Unit of lines that name none: mV'),
  function: z
    .enum(METER_FUNCTIONS)
    .optional()
    .describe('Function of lines that name none; the meter is believed if left out'),
})

export const MeterFields = z.strictObject({
  driver: z
    .enum(['simulated', 'scpi', 'lines', 'frames'])
    .describe(
      'Which meter: the simulated one, one that speaks SCPI, one that prints its readings as lines, one that sends frames of 14 bytes',
    ),
  port: textField(200)
    .optional()
    .describe(
      'Serial port of the meter: /dev/ttyUSB0, COM3; or serial:A1B2C3, its serial number, to be found at any path',
    ),
  baud_rate: countField(300, 921_600)
    .optional()
    .describe('Speed of the serial port, as set on the meter (baud); left out: 9600, with driver frames 2400'),
  data_bits: z.literal([7, 8]).default(8).describe('Data bits of each character on the port'),
  parity: z.enum(['none', 'even', 'odd']).default('none').describe('Parity bit on the port'),
  stop_bits: z.literal([1, 2]).default(1).describe('Stop bits on the port'),
  dtr: z.enum(['on', 'off']).optional().describe('Port line DTR, which powers many optical leads; left out: on'),
  rts: z
    .enum(['on', 'off'])
    .optional()
    .describe('Port line RTS, which powers many optical leads; left out: on, with driver frames off'),
  patterns: z
    .array(PatternField)
    .min(1)
    .max(12)
    .optional()
    .describe(
      'Driver lines: how a line is read; the first that fits counts. Left out: the ready-made forms with a unit',
    ),
  functions: z
    .record(textField(20), z.enum(METER_FUNCTIONS))
    .optional()
    .describe('Driver lines: words of the meter for its functions, besides AC, VAC, V~, DC, VDC, ohm and the like'),
  frame: z
    .enum(FRAME_KINDS)
    .optional()
    .describe('Driver frames: segments of the display, or characters and flags; left out: segments'),
  across_input: countField(1, 32).default(1).describe('Input whose lead the meter is across'),
  accuracy_pct: numberField(0, 20).describe("Accuracy from the meter's data sheet: part of the reading (%)"),
  accuracy_vrms: numberField(0, 1)
    .default(0)
    .describe("Accuracy from the meter's data sheet: fixed part, its counts times the resolution (V rms)"),
})
export type MeterFields = z.infer<typeof MeterFields>
type Context = Parameters<typeof complain>[0]

/** Fields that belong to a port, as a simulated meter has none. */
const PORT_FIELDS = ['dtr', 'rts'] as const

/** What of a meter does not fit together; paths from the root of the file. */
export function checkMeter(meter: MeterFields, context: Context): void {
  const isSimulated = meter.driver === 'simulated'
  if (!isSimulated && meter.port === undefined) {
    complain(
      context,
      ['meter'],
      `meter driver ${meter.driver} has no port`,
      'Add port: /dev/ttyUSB0 or COM3, as the system names it.',
    )
  }
  if (isSimulated && meter.port !== undefined) {
    complain(context, ['meter', 'port'], 'a simulated meter has no port', 'Leave port out.')
  }
  if (meter.port !== undefined && /^serial:\s*$/.test(meter.port)) {
    complain(context, ['meter', 'port'], 'the serial number is missing', 'Write it behind the colon: serial:A1B2C3.')
  }
  for (const field of PORT_FIELDS) {
    if (isSimulated && meter[field] !== undefined) {
      complain(context, ['meter', field], `a simulated meter has no ${field}`, `Leave ${field} out.`)
    }
  }
  const owners = { patterns: 'lines', functions: 'lines', frame: 'frames' } as const
  for (const field of ['patterns', 'functions', 'frame'] as const) {
    if (meter[field] === undefined || meter.driver === owners[field]) continue
    complain(
      context,
      ['meter', field],
      `${field} does not go with meter driver ${meter.driver}`,
      `Leave ${field} out, or set driver: ${owners[field]}.`,
    )
  }
  if (meter.frame === 'characters' && meter.data_bits === 7) {
    complain(context, ['meter', 'data_bits'], 'frames of characters need 8 data bits', 'Leave data_bits out.')
  }
  meter.patterns?.forEach((pattern, index) => {
    checkPattern(pattern, ['meter', 'patterns', index], context)
  })
}

/** What the commonest complaints of the regular expression's parser mean. */
const PATTERN_REMEDIES: readonly (readonly [RegExp, string])[] = [
  [/Unterminated group/, 'A bracket ( is open: close it with ), or write \\( for the character itself.'],
  [/Unmatched '\)'/, 'There is a ) too many: take it out, or write \\) for the character itself.'],
  [
    /Unterminated character class|Lone quantifier|Incomplete quantifier/,
    'A [ or { is open: close it, or write \\[ or \\{.',
  ],
  [/Nothing to repeat/, 'A sign *, + or ? has nothing before it: write \\*, \\+ or \\? for the character itself.'],
  [/Invalid.*escape/, 'A backslash stands before a character that needs none: take it out.'],
  [/Duplicate capture group name/, 'A part is named twice: give each name once.'],
  [/Invalid (?:capture )?group|Invalid named/, 'Name a part like this: (?<value>[-+0-9.]+).'],
]

const patternRemedy = (says: string): string =>
  PATTERN_REMEDIES.find(([pattern]) => pattern.test(says))?.[1] ?? 'Mend the pattern where it says so.'

function checkPattern({ form, line }: z.infer<typeof PatternField>, path: (string | number)[], context: Context): void {
  if ((form === undefined) === (line === undefined)) {
    const what = form === undefined ? 'the pattern has neither line nor form' : 'the pattern has both line and form'
    complain(context, path, what, 'Give it one of them: line is a regular expression, form a ready-made one.')
  }
  if (line === undefined) return
  let parts: string[]
  try {
    // An empty alternative makes any line fit, so that the match names all parts that there are.
    parts = Object.keys(new RegExp(`${line}|`, 'u').exec('')?.groups ?? {})
    new RegExp(line, 'u')
  } catch (error) {
    const says = error instanceof Error ? error.message.replace(/^Invalid regular expression: /, '') : ''
    complain(context, [...path, 'line'], `the pattern is no regular expression: ${says}`, patternRemedy(says))
    return
  }
  if (!parts.includes('value')) {
    complain(context, [...path, 'line'], 'the pattern has no part named value', 'Name it: (?<value>[-+0-9.]+).')
  }
  for (const part of parts.filter((name) => !PARTS.includes(name))) {
    complain(context, [...path, 'line'], `the pattern names a part "${part}"`, `Allowed: ${PARTS.join(', ')}.`)
  }
}
