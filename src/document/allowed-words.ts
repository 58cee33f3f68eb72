/** What a schema allows, in words: 'a number from 0 to 500', 'normal or inverted'. */
import type { JsonSchema } from './json-schema.js'

export function allowedWords(nodes: readonly JsonSchema[]): string {
  const values = nodes.flatMap((node) => node.enum ?? ('const' in node ? [node.const] : []))
  const others = nodes.filter((node) => !node.enum && !('const' in node))
  return listed([...new Set([...values.map(String), ...others.map(kindWords)])], 'or')
}

export function listed(words: readonly string[], last: 'and' | 'or'): string {
  if (words.length < 2) return words.join('')
  return `${words.slice(0, -1).join(', ')} ${last} ${words.at(-1)}`
}

function kindWords(node: JsonSchema): string {
  switch (node.type) {
    case 'number':
      return `a number${rangeWords(node)}`
    case 'integer':
      return `a whole number${rangeWords(node)}`
    case 'boolean':
      return 'true or false'
    case 'string':
      return `text${countWords(node['minLength'], node['maxLength'], 'character')}`
    case 'array':
      return `a list${countWords(node['minItems'], node['maxItems'], 'entry', 'entries')}`
    case 'object':
      return node.properties ? `a map with ${listed(Object.keys(node.properties), 'and')}` : 'a map'
    default:
      return 'a value of another kind'
  }
}

function rangeWords(node: JsonSchema): string {
  const { minimum, maximum, exclusiveMinimum, exclusiveMaximum } = node
  const low = exclusiveMinimum !== undefined ? `more than ${exclusiveMinimum}` : undefined
  const high = exclusiveMaximum !== undefined ? `less than ${exclusiveMaximum}` : undefined
  if (minimum !== undefined && maximum !== undefined) return ` from ${minimum} to ${maximum}`
  const parts = [
    low ?? (minimum !== undefined ? `${minimum} or more` : undefined),
    high ?? (maximum !== undefined ? `${maximum} or less` : undefined),
  ].filter((part) => part !== undefined)
  return parts.length ? `, ${parts.join(' and ')}` : ''
}

function countWords(min: unknown, max: unknown, one: string, many = `${one}s`): string {
  if (max === undefined) return min === undefined || min === 1 ? '' : ` of ${min} ${many} or more`
  if (min === max) return ` of ${max} ${max === 1 ? one : many}`
  return min === undefined || min === 0 ? ` of up to ${max} ${many}` : ` of ${min} to ${max} ${many}`
}
