/** Numbers of inputs or outputs as a person says them. */

/** "3", "1 and 2", "1 to 4 and 7". */
export function numbersInWords(numbers: readonly number[]): string {
  const runs: [number, number][] = []
  for (const number of [...numbers].sort((a, b) => a - b)) {
    const last = runs.at(-1)
    if (last && number === last[1] + 1) last[1] = number
    else runs.push([number, number])
  }
  const words = runs.flatMap(([from, to]) => {
    if (to - from < 2) return from === to ? [`${from}`] : [`${from}`, `${to}`]
    return [`${from} to ${to}`]
  })
  return words.length > 1 ? `${words.slice(0, -1).join(', ')} and ${words.at(-1)}` : (words[0] ?? '')
}

/** "input 3", "inputs 1 to 4 and 7". */
export const inputsInWords = (numbers: readonly number[]): string =>
  `input${numbers.length === 1 ? '' : 's'} ${numbersInWords(numbers)}`
