import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import { z } from 'zod'
import { complain, countField, numberField, textField } from '../../src/document/fields.js'
import { readDocument } from '../../src/document/read.js'
import { StopError } from '../../src/units/stop.js'
import { stopOf } from './stop-of.js'

const Item = z
  .strictObject({
    label: textField(),
    polarity: z.enum(['normal', 'inverted']).default('normal'),
    level_vrms: numberField(0.001, 20).describe('Level (V rms)'),
    is_on: z.boolean().default(false),
    rate_hz: z.literal([44100, 48000]).optional(),
    band: z.strictObject({ low_hz: z.number().positive().optional() }).optional(),
  })
  .superRefine((item, context) => {
    if (item.label === 'taken') complain(context, ['label'], 'label "taken" is given twice', 'Choose another.')
  })
const Inputs = z.union([z.strictObject({ count: countField(1, 3) }), z.array(z.strictObject({ pad_db: z.number() }))])
const Schema = z.strictObject({
  name: textField().describe('Name of it'),
  items: z.array(Item).min(1).max(3),
  inputs: Inputs.optional(),
  leads: z.record(z.string().regex(/^[1-9]$/, 'the number of an input, 1 to 9'), countField(1, 32)).optional(),
})

const read = (text: string) => readDocument(Schema, text, 'a/job.yaml')
const messageOf = (text: string): string => stopOf(() => read(text)).message
const withItem = (fields: string): string => `name: x\nitems:\n  - { label: a, level_vrms: 1${fields} }\n`
const withTop = (lines: string): string => `${withItem('')}${lines}\n`

describe('a sound file', () => {
  test('gives its values with defaults filled in', () => {
    expect(read(withItem(''))).toEqual({
      name: 'x',
      items: [{ label: 'a', level_vrms: 1, polarity: 'normal', is_on: false }],
    })
  })

  test('may be in block style, with comments, a byte order mark and CRLF line ends', () => {
    const text = '\ufeff# mine\r\nname: x\r\nitems:\r\n  - label: a # first\r\n    level_vrms: 1\r\n'
    expect(read(text)).toEqual(read(withItem('')))
  })

  test('takes text as it was written where YAML would see a number or a truth value', () => {
    const text = 'name: 0042\nitems: [{ label: 1e5, level_vrms: 0x2 }, { label: true, level_vrms: 1 }]'
    const { name, items } = read(text)
    expect([name, items[0].label, items[1].label]).toEqual(['0042', '1e5', 'true'])
    expect(items[0].level_vrms).toBe(2)
  })

  test('may leave an optional field without a value', () => {
    expect(read(withItem(', polarity: , band: ~'))).toEqual(read(withItem('')))
  })

  test('takes off spaces around text', () => {
    expect(read(withTop('').replace('name: x', 'name: "  x "')).name).toBe('x')
  })
})

describe('a wrong field is named with file, line, path, value and what is allowed', () => {
  test.each([
    [
      'an unknown field near a known one',
      withItem(', polarty: normal'),
      'unknown field "polarty" (a/job.yaml:3, items[1].polarty). Did you mean "polarity"?',
    ],
    [
      'an unknown field in another style',
      withItem(', isOn: true'),
      'unknown field "isOn" (a/job.yaml:3, items[1].isOn). Did you mean "is_on"?',
    ],
    [
      'a field without its unit, once only though the right one is missing too',
      'name: x\nitems:\n  - label: a\n    level: 1',
      'unknown field "level" (a/job.yaml:4, items[1].level). Did you mean "level_vrms"?',
    ],
    [
      'two letters that changed places',
      'name: x\nitems:\n  - lable: a\n    level_vrms: 1',
      'unknown field "lable" (a/job.yaml:3, items[1].lable). Did you mean "label"?',
    ],
    [
      'a field that belongs elsewhere',
      withItem(', low_hz: 3'),
      'unknown field "low_hz" (a/job.yaml:3, items[1].low_hz). Allowed here: label, polarity, level_vrms, is_on, ' +
        'rate_hz and band; low_hz is a field of items[].band.',
    ],
    [
      'a field like nothing known',
      withTop('colour: red'),
      'unknown field "colour" (a/job.yaml:4, colour). Allowed here: name, items, inputs and leads.',
    ],
    [
      'an unknown field without a value',
      withTop('colour:'),
      'unknown field "colour" (a/job.yaml:4, colour). Allowed here: name, items, inputs and leads.',
    ],
    [
      'a word that is not on the list',
      withItem(', polarity: inverse'),
      'polarity is "inverse" (a/job.yaml:3, items[1].polarity). Allowed: normal or inverted.',
    ],
    [
      'a number that is not on the list',
      withItem(', rate_hz: 96000'),
      'rate_hz is 96000 (a/job.yaml:3, items[1].rate_hz). Allowed: 44100 or 48000.',
    ],
    [
      'a word for a truth value',
      withItem(', is_on: yes'),
      'is_on is "yes" (a/job.yaml:3, items[1].is_on). Allowed: true or false.',
    ],
    [
      'a number above its range',
      'name: x\nitems:\n  - label: a\n    level_vrms: 40',
      'level_vrms is 40, too high (a/job.yaml:4, items[1].level_vrms). Allowed: a number from 0.001 to 20.',
    ],
    [
      'a number below its range',
      withItem(', band: { low_hz: -1.50 }'),
      'low_hz is -1.50, too low (a/job.yaml:3, items[1].band.low_hz). Allowed: a number, more than 0.',
    ],
    [
      'not a number',
      withItem(', band: { low_hz: .nan }'),
      'low_hz is .nan (a/job.yaml:3, items[1].band.low_hz). Allowed: a number, more than 0.',
    ],
    [
      'infinity',
      withItem(', band: { low_hz: .inf }'),
      'low_hz is .inf (a/job.yaml:3, items[1].band.low_hz). Allowed: a number, more than 0.',
    ],
    [
      'a number with its unit',
      'name: x\nitems:\n  - label: a\n    level_vrms: 2.0 V',
      'level_vrms is "2.0 V" (a/job.yaml:4, items[1].level_vrms). ' +
        "Leave the unit out, the field's name says it. Allowed: a number from 0.001 to 20.",
    ],
    [
      'a decimal comma',
      'name: x\nitems:\n  - label: a\n    level_vrms: 2,0',
      'level_vrms is "2,0" (a/job.yaml:4, items[1].level_vrms). ' +
        'Write decimals with a point. Allowed: a number from 0.001 to 20.',
    ],
    [
      'a decimal comma inside braces',
      withItem(', band: { low_hz: 2,5 }'),
      'unknown field "5" (a/job.yaml:3, items[1].band.5). ' +
        'Write decimals with a point (2.5), and put text that holds a comma in quotes.',
    ],
    [
      'a list for a map',
      withItem(', band: [1]'),
      'band is a list (a/job.yaml:3, items[1].band). Allowed: a map with low_hz.',
    ],
    [
      'a map for a list',
      'name: x\nitems:\n  a: 1',
      'items is a map of fields (a/job.yaml:2, items). Allowed: a list of 1 to 3 entries.',
    ],
    [
      'a number for an entry of a list',
      'name: x\nitems: [5]',
      'items[1] is 5 (a/job.yaml:2, items[1]). Allowed: a map with label, polarity, level_vrms, is_on, rate_hz and band.',
    ],
    [
      'an entry without a value',
      'name: x\nitems:\n  - { label: a, level_vrms: 1 }\n  -\n',
      'items[2] has no value (a/job.yaml:4, items[2]). Allowed: a map with label, polarity, level_vrms, is_on, rate_hz and band.',
    ],
    [
      'a value on a later line than its key',
      'name: x\nitems:\n  - label: a\n    level_vrms:\n      40',
      'level_vrms is 40, too high (a/job.yaml:5, items[1].level_vrms). Allowed: a number from 0.001 to 20.',
    ],
    [
      'an empty list',
      'name: x\nitems: []',
      'items has too few entries (a/job.yaml:2, items). Allowed: a list of 1 to 3 entries.',
    ],
    [
      'too long a text',
      withTop('').replace('name: x', `name: ${'y'.repeat(81)}`),
      `name is "${'y'.repeat(57)}...", too long (a/job.yaml:1, name). Allowed: text of 1 to 80 characters.`,
    ],
    [
      'a text with a line break',
      withTop('').replace('name: x', 'name: "x\\ny"'),
      'text holds a line break or a control character (a/job.yaml:1, name). Write it on one line.',
    ],
    [
      'a missing field, with its meaning',
      'name: x\nitems:\n  - label: a',
      'field "level_vrms" is missing (a/job.yaml:3, items[1].level_vrms). Add it: Level (V rms).',
    ],
    [
      'a field without a value',
      withTop('').replace('name: x', 'name:'),
      'name has no value (a/job.yaml:1, name). Allowed: text of 1 to 80 characters.',
    ],
    [
      'a check between fields',
      'name: x\nitems:\n  - level_vrms: 1\n    label: taken',
      'label "taken" is given twice (a/job.yaml:4, items[1].label). Choose another.',
    ],
    [
      'one alternative of two, told by its kind',
      withTop('inputs: { count: 9 }'),
      'count is 9, too high (a/job.yaml:4, inputs.count). Allowed: a whole number from 1 to 3.',
    ],
    [
      'the other alternative',
      withTop('inputs: [{ pad_db: much }]'),
      'pad_db is "much" (a/job.yaml:4, inputs[1].pad_db). Allowed: a number.',
    ],
    [
      'neither alternative',
      withTop('inputs: 5'),
      'inputs is 5 (a/job.yaml:4, inputs). Allowed: a map with count or a list.',
    ],
    [
      'a key of the wrong form',
      withTop('leads: { first: 1 }'),
      'field "first" is not allowed (a/job.yaml:4, leads.first). Allowed: the number of an input, 1 to 9.',
    ],
    [
      'a fraction for a whole number',
      withTop('leads: { 1: 1.5 }'),
      'leads.1 is 1.5 (a/job.yaml:4, leads.1). Allowed: a whole number from 1 to 32.',
    ],
  ])('%s', (_, text, message) => {
    expect(messageOf(text)).toBe(message)
  })

  test('of several problems the first by line, with the count of the others', () => {
    const text = 'colour: red\nname: [x]\nitems:\n  - label: a\n    level_vrms: 40\n'
    expect(messageOf(text)).toBe(
      'unknown field "colour" (a/job.yaml:1, colour). Allowed here: name, items, inputs and leads. ' +
        '2 more problems in this file.',
    )
    expect(messageOf(withItem(', is_on: 1, rate_hz: 1'))).toMatch(/^is_on is 1 .* 1 more problem in this file\.$/)
  })
})

describe('a file that is no document', () => {
  test.each([
    ['empty', '', /^file is empty \(a\/job\.yaml\)\. /],
    ['comments only', '# nothing\n\n', /^file is empty \(a\/job\.yaml\)\. /],
    ['null', 'null', /^file is empty /],
    ['a list', '- a', /^file is a list \(a\/job\.yaml:1\)\. Allowed: a map with name, items, inputs and leads\.$/],
    ['a word', 'hello', /^file is "hello" \(a\/job\.yaml:1\)\. Allowed: a map/],
    ['a field without a space after its colon', 'name:x', /^file is "name:x" .* with a space after the colon\. /],
    [
      'a field given twice',
      'name: x\n\nname: y',
      /^field "name" stands twice \(a\/job\.yaml:3, name\)\. .* on line 1\.$/,
    ],
    [
      'a tab',
      'items:\n\t- a',
      /^a tab stands at the start of a line \(a\/job\.yaml:2, column 1\)\. Indent with spaces/,
    ],
    ['an open bracket', 'items: [a, b\n', /^a bracket is not closed.* \(a\/job\.yaml:[12], column \d+\)\. Close every/],
    ['an open quote', 'name: "x\n', /^a quote, comma, bracket or colon is missing \(a\/job\.yaml:[12], column \d+\)/],
    ['a colon inside text', 'name: front: left', /^a second "name: value" .* \(a\/job\.yaml:1, column 7\)\. .*quotes/],
    ['a line without a colon', 'name: x\nitems', /^a quote, comma, bracket or colon is missing \(a\/job\.yaml:2, /],
    ['uneven indentation', ' name: x\nitems: []', /^text that fits nowhere \(a\/job\.yaml:[12], /],
    ['a reserved sign', 'name: @x', /^a value begins with a sign .* \(a\/job\.yaml:1, column 7\)\. Put .* in quotes/],
    ['a bad escape', 'name: "\\q"', /^a backslash that means nothing \(a\/job\.yaml:1, /],
    ['two documents', 'name: x\n---\nname: y', /^a second document begins \(a\/job\.yaml:2, /],
    ['an unknown YAML version', '%YAML 9.9\n---\nname: x', /^not readable as YAML: .*9\.9 \(a\/job\.yaml:1, /],
    ['a tag', 'name: !secret x', /^a tag \(!\) is not allowed \(a\/job\.yaml:1, /],
    ['a standard tag', 'name: !!str x', /^the tag .* is not allowed \(a\/job\.yaml:1, name\)/],
    ['a list as a name', '? [a]\n: b', /^a field without a readable name \(a\/job\.yaml:1\)/],
    [
      'an anchor',
      'name: x\nitems: &a [1]',
      /^anchors \(&\) and aliases \(\*\) are not allowed \(a\/job\.yaml:2, items\)/,
    ],
    ['an alias to nothing', 'name: *x', /^anchors \(&\) and aliases \(\*\) are not allowed \(a\/job\.yaml:1, name\)/],
    ['a binary file', 'RIFF\0\0\0WAVE', /^file is not UTF-8 text \(a\/job\.yaml:1\)/],
    ['bytes that are not UTF-8', 'name: x\nitems: caf\ufffd', /^file is not UTF-8 text \(a\/job\.yaml:2\)/],
    ['a huge file', `name: ${'x'.repeat(200_000)}`, /^file has 200006 characters \(a\/job\.yaml\)/],
  ])('%s', (_, text, message) => {
    expect(messageOf(text)).toMatch(message)
  })

  // The parser by itself ends the whole process on the first of these, and runs out of stack on the others.
  test.each([
    ['brackets', `\n${'['.repeat(100_000)}`, 2],
    ['braces', `\n\n${'{a: '.repeat(40_000)}`, 3],
    ['dashes', '- '.repeat(90_000), 1],
    ['indentation', Array.from({ length: 600 }, (_, depth) => `${' '.repeat(depth)}a:`).join('\n'), 101],
  ])('nested too deep in %s', (_, text, line) => {
    expect(messageOf(text)).toMatch(new RegExp(`^file nests too deep \\(a/job\\.yaml:${line}\\)\\. `))
  })

  test('aliases that would unfold to a billion entries', () => {
    const levels = Array.from({ length: 9 }, (_, n) => `a${n + 1}: &a${n + 1} [${`*a${n}, `.repeat(9)}]`)
    expect(messageOf(['a0: &a0 [x]', ...levels].join('\n'))).toMatch(/^anchors \(&\) and aliases/)
  })

  test('a field named like an inner part of every object is just unknown', () => {
    expect(messageOf(withTop('__proto__: { name: y }'))).toMatch(/^unknown field "__proto__" \(a\/job\.yaml:4, /)
    expect(messageOf(withTop('constructor: 1'))).toMatch(/^unknown field "constructor" \(a\/job\.yaml:4, /)
  })
})

describe('a message', () => {
  test('shows control characters and marks of direction as escapes', () => {
    const message = messageOf(withItem(', "\\e]0;x\\a": 1, "\\u202e": 2'))
    expect(message).toContain('unknown field "\\u001b]0;x\\u0007"')
    expect(message).toMatch(/^[^\p{Cc}\p{Zl}\p{Zp}]+$/u)
  })

  test('keeps the kind that ends with exit status 3', () => {
    expect(stopOf(() => read('')).kind).toBe('input')
  })

  const seed = 20_250
  test(`is one line for any text whatever (seed ${seed})`, () => {
    const sign = fc.constantFrom(...'[]{}:,-?&*!|>\'"%@#\\ \n\t\r~.0aé\u2028\u0000')
    const garbage = fc.oneof(fc.string({ unit: 'binary' }), fc.string({ unit: sign, maxLength: 60 }))
    const damaged = fc
      .tuple(fc.nat(60), fc.nat(10), garbage)
      .map(([at, count, text]) => withItem(', polarity: normal').slice(0, at) + text + withItem('').slice(at + count))
    fc.assert(
      fc.property(fc.oneof(garbage, damaged), (text) => {
        try {
          read(text)
        } catch (error) {
          expect(error).toBeInstanceOf(StopError)
          expect((error as StopError).message).toMatch(/^[^\p{Cc}\p{Zl}\p{Zp}]+$/u)
        }
      }),
      { seed, numRuns: 500 },
    )
  })
})
