/** The table of accuracy in DEVELOPERS.md is made by scripts/accuracy.mjs; here, that it is there and not of another age. */
import { existsSync, readFileSync } from 'node:fs'
import { expect, test } from 'vitest'
import { MEASURANDS } from './measurands.js'

const [, table] = readFileSync('DEVELOPERS.md', 'utf8').split(/<!-- accuracy:(?:begin|end) -->/)

test('it has a row for each measurand, in their order, with what was drawn', () => {
  const rows = (table ?? '').split('\n').filter((line) => line.startsWith('| '))
  const said = rows.slice(2).map((row) => row.split(' | ', 2).map((cell) => cell.replace(/^\| /, '')))
  expect(said).toEqual(MEASURANDS.map(({ name, range }) => [name, range]))
})

test.each(MEASURANDS.map(({ name, outside }) => [name, outside] as const))(
  '%s is held against something outside in tests that exist',
  (_, outside) => {
    const files = [...outside.matchAll(/[a-z-]+\/[a-z-]+(?= \()/g)].map(([file]) => `test/${file}.test.ts`)
    expect(files.length).toBeGreaterThan(0)
    expect(files.filter((file) => !existsSync(file))).toEqual([])
  },
)
