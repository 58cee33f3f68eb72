/**
 * JSON Schema of a file, for editors and for messages: what a person writes, before defaults are filled in.
 *
 * Draft 7, because that is what editors' YAML completion understands.
 */
import { z } from 'zod'
import type { Path } from './tree.js'

export interface JsonSchema {
  readonly [keyword: string]: unknown
  readonly type?: string
  readonly description?: string
  readonly enum?: readonly unknown[]
  readonly const?: unknown
  readonly properties?: { readonly [name: string]: JsonSchema }
  readonly additionalProperties?: boolean | JsonSchema
  readonly items?: JsonSchema | readonly JsonSchema[]
  readonly anyOf?: readonly JsonSchema[]
  readonly oneOf?: readonly JsonSchema[]
  readonly allOf?: readonly JsonSchema[]
}

/**
 * The JSON Schema of what a file may hold, with the fields' descriptions.
 *
 * Checks between fields (a number used twice) cannot be said in it; the reader makes them.
 */
export function jsonSchemaOf(schema: z.ZodType, title: string): JsonSchema {
  const { $schema, ...rest } = bareJsonSchemaOf(schema)
  return { $schema, title, ...rest }
}

export function bareJsonSchemaOf(schema: z.ZodType): JsonSchema {
  return z.toJSONSchema(schema, {
    io: 'input',
    target: 'draft-7',
    unrepresentable: 'any',
    override: ({ jsonSchema }) => {
      // The safe-integer bounds say nothing to a person.
      if (jsonSchema.minimum === Number.MIN_SAFE_INTEGER) delete jsonSchema.minimum
      if (jsonSchema.maximum === Number.MAX_SAFE_INTEGER) delete jsonSchema.maximum
    },
  }) as JsonSchema
}

/** Everything that a schema allows at a path: one entry, or one for each alternative, alternatives taken apart. */
export function nodesAt(root: JsonSchema, path: Path): JsonSchema[] {
  let nodes = alternatives(root)
  for (const step of path) nodes = nodes.flatMap((node) => childrenOf(node, step)).flatMap(alternatives)
  return nodes
}

/** Places in the schema where a field of this name stands, as a person would write them: outputs[].band. */
export function homesOf(root: JsonSchema, name: string, at = ''): string[] {
  return alternatives(root).flatMap((node) => {
    const properties = Object.entries(node.properties ?? {})
    const items = node.items === undefined || Array.isArray(node.items) ? [] : [node.items as JsonSchema]
    return [
      ...(properties.some(([key]) => key === name) ? [at] : []),
      ...properties.flatMap(([key, child]) => homesOf(child, name, at === '' ? key : `${at}.${key}`)),
      ...items.flatMap((child) => homesOf(child, name, `${at}[]`)),
    ]
  })
}

function alternatives(node: JsonSchema): JsonSchema[] {
  const parts = node.anyOf ?? node.oneOf ?? node.allOf
  return parts ? parts.flatMap(alternatives) : [node]
}

function childrenOf(node: JsonSchema, step: PropertyKey): JsonSchema[] {
  if (typeof step === 'number') {
    if (Array.isArray(node.items)) return step in node.items ? [node.items[step]] : []
    return node.items ? [node.items as JsonSchema] : []
  }
  const properties = node.properties ?? {}
  if (Object.hasOwn(properties, step)) return [properties[String(step)]]
  return typeof node.additionalProperties === 'object' ? [node.additionalProperties] : []
}
