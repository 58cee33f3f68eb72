/**
 * Blanks what is no code in a TypeScript text: comments, and the inside of strings, templates and regular expressions.
 *
 * Line breaks and positions stay, so that a match in the blanked text is found again in the original.
 */

/** A slash after one of these begins a regular expression, else it divides. */
const BEFORE_EXPRESSION = /(?:^|[=(,:;!&|?{}[\n+*%<>~^-]|\b(?:return|typeof|case|of|in|await))$/

const REGEX = /\/(?:\\.|\[(?:\\.|[^\]\\\n])*\]|[^/\\[\n])+\//y
const LINE_COMMENT = /\/\/[^\n]*/y
const BLOCK_COMMENT = /\/\*[\s\S]*?(?:\*\/|$)/y
const STRING = /'(?:\\[\s\S]|[^'\\\n])*'?|"(?:\\[\s\S]|[^"\\\n])*"?/y
/** From a backtick, or from the brace that ends an insertion, to the next insertion or the closing backtick. */
const TEMPLATE_PART = /[`}](?:\\[\s\S]|\$(?!\{)|[^`\\$])*(?:`|\$\{|$)/y

const spaces = (text) => text.replace(/[^\n]/g, ' ')
/** Keeps the first character and what ends the literal. */
const hollow = (text, tail = 1) =>
  text.length > tail ? text[0] + spaces(text.slice(1, text.length - tail)) + text.slice(text.length - tail) : text

export function blank(text) {
  let out = ''
  let at = 0
  // One entry for each open template insertion: how many braces stand open inside it.
  const insertions = []
  const take = (pattern) => {
    pattern.lastIndex = at
    return pattern.exec(text)?.[0] ?? null
  }
  while (at < text.length) {
    const char = text[at]
    const comment = char === '/' ? (take(LINE_COMMENT) ?? take(BLOCK_COMMENT)) : null
    const isTemplate = char === '`' || (char === '}' && insertions.at(-1) === 0)
    let piece = char
    let put = char
    if (comment) {
      piece = comment
      put = spaces(comment)
    } else if (char === '/' && BEFORE_EXPRESSION.test(out.trimEnd())) {
      piece = take(REGEX) ?? char
      put = hollow(piece)
    } else if (char === "'" || char === '"') {
      piece = take(STRING)
      put = hollow(piece)
    } else if (isTemplate) {
      if (char === '}') insertions.pop()
      piece = take(TEMPLATE_PART)
      const opens = piece.length > 1 && piece.endsWith('${')
      if (opens) insertions.push(0)
      put = hollow(piece, opens ? 2 : 1)
    } else if (insertions.length > 0 && (char === '{' || char === '}')) {
      insertions[insertions.length - 1] += char === '{' ? 1 : -1
    }
    out += put
    at += piece.length
  }
  return out
}
