import Ajv from 'ajv'
import { expect, test } from 'vitest'
import { z } from 'zod'
import { type JsonSchema, jsonSchemaOf } from '../../src/document/json-schema.js'
import { JobFile } from '../../src/job/schema.js'
import { RigFile } from '../../src/rig/schema.js'

const job = jsonSchemaOf(JobFile, 'linetrue job')
const rig = jsonSchemaOf(RigFile, 'linetrue rig')

/** Paths of fields that say nothing about themselves. */
function silentFieldsOf(node: JsonSchema, at = ''): string[] {
  const children = [...(node.anyOf ?? []), ...(node.items ? [node.items as JsonSchema] : [])]
  return [
    ...Object.entries(node.properties ?? {}).flatMap(([name, child]) => [
      ...(child.description ? [] : [`${at}.${name}`]),
      ...silentFieldsOf(child, `${at}.${name}`),
    ]),
    ...children.flatMap((child) => silentFieldsOf(child, at)),
  ]
}

test('every field of job and rig says what it means', () => {
  expect([...silentFieldsOf(job), ...silentFieldsOf(rig)]).toEqual([])
})

test('a field whose name ends in a unit says that unit', () => {
  const units = {
    _hz: '(Hz)',
    _ms: '(ms)',
    _db: '(dB',
    _db_max: '(dB)',
    _vrms: '(V rms)',
    _pct: '(%)',
    _pct_max: '(%)',
  }
  const wrong: string[] = []
  const look = (node: JsonSchema): void => {
    for (const [name, child] of Object.entries(node.properties ?? {})) {
      const unit = Object.entries(units).find(([ending]) => name.endsWith(ending))?.[1]
      if (unit !== undefined && !child.description?.includes(unit)) wrong.push(`${name}: ${child.description}`)
      look(child)
    }
    for (const child of node.anyOf ?? []) look(child)
    if (node.items) look(node.items as JsonSchema)
  }
  look(job)
  look(rig)
  expect(wrong).toEqual([])
})

test('the schemas are valid, refuse unknown fields, and ask only for what has no default', () => {
  const ajv = new Ajv.default({ strict: true, allowUnionTypes: true })
  const isJob = ajv.compile(job)
  const output = { number: 1, label: 'a', left: 1, right: 0, level_vrms: 2 }
  expect(isJob({ name: 'x', vehicle: { model: 'y' }, outputs: [output] })).toBe(true)
  expect(isJob({ name: 'x', vehicle: { model: 'y' }, outputs: [{ ...output, polarty: 'normal' }] })).toBe(false)
  expect(isJob({ name: 'x', vehicle: { model: 'y' }, outputs: [{ ...output, level_vrms: 0 }] })).toBe(false)
  expect(isJob({ name: 'x', vehicle: { model: 'y' }, outputs: [] })).toBe(false)
  const isRig = ajv.compile(rig)
  const bench = { name: 'x', capture: { driver: 'recording' }, player: { driver: 'none' } }
  const input = { full_scale_vrms: 2, level_uncertainty_db: 0.3 }
  expect(isRig({ ...bench, inputs: [input] })).toBe(true)
  expect(isRig({ ...bench, inputs: { count: 2, ...input } })).toBe(true)
  expect(isRig({ ...bench, inputs: { count: 33, ...input } })).toBe(false)
})

test('a schema has its title and no bounds that come from the number format alone', () => {
  const schema = jsonSchemaOf(z.strictObject({ at: z.int(), from: z.int().min(3).default(4) }), 'mine')
  expect(schema).toEqual({
    $schema: 'http://json-schema.org/draft-07/schema#',
    title: 'mine',
    type: 'object',
    properties: { at: { type: 'integer' }, from: { type: 'integer', minimum: 3, default: 4 } },
    required: ['at'],
    additionalProperties: false,
  })
})
