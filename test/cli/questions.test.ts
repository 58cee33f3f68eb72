import { describe, expect, test } from 'vitest'
import { type Asking, askAll, type Step } from '../../src/cli/questions.js'
import { numberIn, oneOf } from '../../src/stages/question.js'
import { StopError } from '../../src/units/stop.js'

const GO_ON = new AbortController().signal
const COLOURS = [
  { value: 'red', says: 'red, warm' },
  { value: 'blue', says: 'blue, cold' },
]
/** How many, which colour, and for blue a shade. */
const STEPS: readonly Step[] = [
  () => ({ name: 'count', asks: 'How many?', why: 'Because. Usual: 2.', usual: '2', check: numberIn(1, 9, true) }),
  () => ({ name: 'colour', asks: 'Which?', why: 'So.', choices: COLOURS, usual: 'red', check: oneOf(COLOURS) }),
  (answers) =>
    answers.get('colour') === 'blue'
      ? { name: 'shade', asks: 'How dark?', why: 'Well.', usual: '0.5', check: numberIn(0, 1) }
      : null,
]

interface Told {
  readonly shown: string[]
  readonly said: string[]
}

async function answered(lines: readonly string[] | null, given: Record<string, string> = {}) {
  const told: Told = { shown: [], said: [] }
  const rest = [...(lines ?? [])]
  const asking: Asking = {
    given: new Map(Object.entries(given)),
    givenWhere: 'answers.yaml',
    columnCount: 80,
    say: (line) => told.said.push(line),
    ask:
      lines &&
      (async (text) => {
        told.shown.push(text)
        const line = rest.shift()
        if (line === undefined) throw new Error('no answer left')
        return line
      }),
  }
  const answers = await askAll(STEPS, asking, GO_ON)
  return { ...told, answers: Object.fromEntries(answers) }
}

describe('questions', () => {
  test('say why they are asked, what may be chosen, and what Enter takes', async () => {
    const { shown, answers } = await answered(['', ''])
    expect(answers).toEqual({ count: '2', colour: 'red' })
    expect(shown).toEqual([
      '\nHow many?\n  Because. Usual: 2.\n[Enter: 2] ',
      '\nWhich?\n  So.\n   1  red, warm\n   2  blue, cold\n[Enter: 1, < steps back] ',
    ])
  })

  test('take a number of the list or the value itself', async () => {
    expect((await answered(['3', '2', '0,25'])).answers).toEqual({ count: '3', colour: 'blue', shade: '0.25' })
    expect((await answered(['3', 'Blue', ''])).answers).toEqual({ count: '3', colour: 'blue', shade: '0.5' })
  })

  test('are asked again, with what is allowed, where an answer will not do', async () => {
    const { said, answers } = await answered(['many', '12', '4', 'green', '1'])
    expect(said).toEqual([
      'Allowed: a whole number from 1 to 9.',
      'Allowed: a whole number from 1 to 9.',
      'Allowed: 1 to 2, or one of red, blue.',
    ])
    expect(answers).toEqual({ count: '4', colour: 'red' })
  })

  test('step back, and forget what depended on the answer', async () => {
    const { answers, said } = await answered(['<', '3', '2', '<', '1'])
    expect(said).toEqual(['This is the first question.'])
    expect(answers).toEqual({ count: '3', colour: 'red' })
    expect((await answered(['3', '2', '<', '<', '5', '1'])).answers).toEqual({ count: '5', colour: 'red' })
  })

  test('answered by a file are not asked, and not stepped back to', async () => {
    const { shown, answers } = await answered(['4', '<', '6'].slice(0, 2).concat('7'), { colour: '2', shade: '1' })
    expect(shown).toHaveLength(1)
    expect(answers).toEqual({ count: '4', colour: 'blue', shade: '1' })
  })

  test('take what is usual where nobody is there', async () => {
    const { said, answers } = await answered(null, { count: '7' })
    expect(answers).toEqual({ count: '7', colour: 'red' })
    expect(said).toEqual(['count: 7', 'colour: red (usual)'])
  })
})

describe('a file of answers stops with one line at', () => {
  test('an answer that will not do', async () => {
    await expect(answered(null, { count: 'many' })).rejects.toThrow(
      'count: "many" won\'t do (answers.yaml). Allowed: a whole number from 1 to 9.',
    )
  })

  test('an answer that belongs to no question', async () => {
    await expect(answered(null, { color: 'red' })).rejects.toThrow(
      'no question is named "color" here (answers.yaml). Asked are: count, colour.',
    )
    await expect(answered(null, { shade: '1' })).rejects.toThrow('no question is named "shade" here')
  })
})

test('a stop ends the questions with its reason', async () => {
  const reason = new StopError('stopped by Ctrl-C', 'this run', 'Give it again.', 'instrument')
  const asking: Asking = { given: new Map(), givenWhere: '', columnCount: 80, say: () => {}, ask: null }
  await expect(askAll(STEPS, asking, AbortSignal.abort(reason))).rejects.toBe(reason)
})
