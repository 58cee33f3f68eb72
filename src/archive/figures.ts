/** All figures of a result in one list, each with where it belongs: what two runs are compared by, and what is exported. */
import type { Figure } from '../verdict/parts.js'
import type { Result } from '../verdict/result.js'

export interface PlacedFigure {
  /** 'outputs', 'vehicle', 'sums', or the stage. */
  readonly part: string
  /** Number and label of the output; null for what belongs to none. */
  readonly outputNumber: number | null
  readonly label: string
  /** Of the figure, or of the check that it stands in. */
  readonly name: string
  readonly figure: Figure
  /** The same in two runs of one job. */
  readonly key: string
}

export function figuresOf(result: Result): PlacedFigure[] {
  const counts = new Map<string, number>()
  const placed = (
    part: string,
    name: string,
    figure: Figure,
    outputNumber: number | null = null,
    label = '',
  ): PlacedFigure => {
    const stem = JSON.stringify([part, outputNumber ?? label, name])
    const count = (counts.get(stem) ?? 0) + 1
    counts.set(stem, count)
    return { part, outputNumber, label, name, figure, key: `${stem}${count}` }
  }
  return [
    ...result.outputs.flatMap(({ number, label, figures }) =>
      figures.map((figure) => placed('outputs', figure.quantity, figure, number, label)),
    ),
    ...checkFigures(result.checks).map(({ name, figure }) => placed('vehicle', name, figure)),
    ...result.stages.flatMap(({ stage, figures, checks }) => [
      ...figures.map((figure) => placed(stage, figure.quantity, figure)),
      // A stage's checks may hold its figures once more.
      ...checkFigures(checks)
        .filter(({ figure }) => !figures.some((one) => isSame(one, figure)))
        .map(({ name, figure }) => placed(stage, name, figure)),
    ]),
  ]
}

const checkFigures = (checks: Result['checks']): { name: string; figure: Figure }[] =>
  checks.flatMap(({ name, figure }) => (figure === null ? [] : [{ name, figure }]))

const isSame = (a: Figure, b: Figure): boolean =>
  a.quantity === b.quantity && a.value === b.value && a.unit === b.unit && a.freqHz === b.freqHz
