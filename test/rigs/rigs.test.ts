/** The ready rigs: each is a rig file that the command takes, and says where a technician has to change it. */
import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, test } from 'vitest'
import { parseRig } from '../../src/rig/parse.js'
import type { Rig } from '../../src/rig/rig.js'

const FOLDER = 'rigs'
const names = readdirSync(FOLDER).filter((name) => name.endsWith('.yaml'))
const textOf = (name: string): string => readFileSync(join(FOLDER, name), 'utf8')
const rigOf = (name: string): Rig => parseRig(textOf(name), name)

describe('the ready rigs', () => {
  test.each(names)('%s parses, and begins with what it is for', (name) => {
    expect(rigOf(name).inputs.length).toBeGreaterThan(0)
    expect(textOf(name)).toMatch(/^# \S/)
  })

  test('have names of their own', () => {
    const rigNames = names.map((name) => rigOf(name).name)
    expect(new Set(rigNames).size).toBe(rigNames.length)
  })

  test('hold one for each kind of bench', () => {
    const kinds = Object.fromEntries(
      names.map((name) => {
        const { capture, player, inputs } = rigOf(name)
        return [name, [capture.driver, player.driver, inputs.length]]
      }),
    )
    expect(kinds).toMatchObject({
      'simulated.yaml': ['simulated', 'simulated', 12],
      'pulse-loop.yaml': ['pulse', 'computer', 12],
      'two-input-card.yaml': ['alsa', 'computer', 2],
      'eight-input-card.yaml': ['alsa', 'alsa', 8],
      'macos.yaml': ['ffmpeg', 'ffmpeg', 2],
      'windows.yaml': ['ffmpeg', 'stick', 2],
    })
  })

  test.each(names.filter((name) => !/simulated|recording/.test(name)))('%s marks what to change', (name) => {
    const text = textOf(name)
    expect(text).toContain('CHANGE')
    expect(text).toMatch(/Before the first run: amplifiers off or their gains down/)
    // Nobody's card has exactly the value of an example.
    for (const line of text.split('\n').filter((one) => /^ +full_scale_vrms: |^inputs: #/.test(one)))
      expect(line).toContain('CHANGE')
  })

  test('say on which machines they were not tried', () => {
    expect(textOf('macos.yaml')).toContain('Not tried on such a machine')
    expect(textOf('windows.yaml')).toContain('Not tried on such a machine')
  })
})
