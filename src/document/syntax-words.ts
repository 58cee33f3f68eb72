/** The YAML parser's complaints in words for a person who edits the file, with the usual cure. */
import type { ErrorCode } from 'yaml'

type Words = { readonly what: string; readonly remedy: string }

const WORDS: { readonly [Code in ErrorCode]?: Words } = {
  TAB_AS_INDENT: { what: 'a tab stands at the start of a line', remedy: 'Indent with spaces.' },
  BAD_INDENT: {
    what: 'a bracket is not closed, or a line is indented too little',
    remedy: 'Close every [ and {, and indent what stands between them.',
  },
  BLOCK_AS_IMPLICIT_KEY: {
    what: 'a second "name: value" where one value is wanted',
    remedy: 'Put text that holds a colon in quotes, and line up the fields of one map.',
  },
  MULTILINE_IMPLICIT_KEY: { what: 'a field without a colon', remedy: 'Write fields as name: value, one on each line.' },
  MISSING_CHAR: {
    what: 'a quote, comma, bracket or colon is missing',
    remedy: 'Write fields as name: value, and close what was opened.',
  },
  MULTIPLE_DOCS: { what: 'a second document begins', remedy: 'Keep one document in a file: take the --- out.' },
  UNEXPECTED_TOKEN: {
    what: 'text that fits nowhere',
    remedy: 'Line up the fields of one map, and put text with signs in quotes.',
  },
  TAG_RESOLVE_FAILED: { what: 'a tag (!) is not allowed', remedy: 'Write the value without a tag, or in quotes.' },
  BAD_ALIAS: { what: 'an anchor or alias is not allowed', remedy: 'Put text that begins with & or * in quotes.' },
  BAD_SCALAR_START: {
    what: 'a value begins with a sign that YAML keeps for itself',
    remedy: 'Put the value in quotes.',
  },
  BAD_DQ_ESCAPE: {
    what: 'a backslash that means nothing',
    remedy: "Use single quotes ('…') around text with backslashes.",
  },
}

export function syntaxWords(code: ErrorCode, message: string): Words {
  const words = WORDS[code]
  if (words) return words
  const [firstLine] = message.split('\n')
  return { what: `not readable as YAML: ${firstLine}`, remedy: 'Correct the line.' }
}
