/** Names that a job file, an instrument or a file could hold to break a view; each is told from the others by a number. */
import type { Result } from '../../src/verdict/result.js'

export const HOSTILE = [
  '<script>window.broken = 1</script>',
  '"><img src=x onerror="window.broken = 2">',
  "' onmouseover='window.broken = 3",
  '</title></style><svg onload=window.broken=4>',
  '\u001b[2J\u001b[31mred\u001b]0;title\u0007',
  'two\nlines\r\nand\ttabs',
  '&lt;b&gt; &amp;',
  'フロント左 スピーカー',
  'x'.repeat(300),
  'a word and a word '.repeat(20),
  '\u202egnorw',
  '`x` {{y}} %s %n $&',
] as const

/** The result with every free text taken from the list in turn. */
export function withHostileTexts(result: Result): Result {
  let next = 0
  const hostile = (): string => HOSTILE[next++ % HOSTILE.length]
  const check = (one: Result['checks'][number]) => ({
    ...one,
    expected: hostile(),
    measured: hostile(),
    why: hostile(),
  })
  return {
    ...result,
    program: hostile(),
    summary: hostile(),
    startedAt: hostile(),
    job: {
      name: hostile(),
      vehicle: hostile(),
      vin: hostile(),
      plate: hostile(),
      platform: hostile(),
      jobNumber: hostile(),
      technician: hostile(),
      customer: hostile(),
      limitsProfile: hostile(),
      warnings: HOSTILE.map(hostile),
    },
    rig: {
      ...result.rig,
      name: hostile(),
      capture: hostile(),
      player: hostile(),
      meter: hostile(),
      notes: HOSTILE.map(hostile),
      inputs: result.rig.inputs.map((input) => ({ ...input, calibratedAt: hostile() })),
    },
    takes: result.takes.map((take) => ({
      ...take,
      patch: hostile(),
      source: hostile(),
      sha256: hostile(),
      faults: HOSTILE.map(hostile),
    })),
    checks: HOSTILE.map((name) => ({ ...check(result.checks[0]), name })),
    outputs: result.outputs.map((output) => ({
      ...output,
      label: hostile(),
      patch: hostile(),
      figures: output.figures.map((figure) => ({
        ...figure,
        method: hostile(),
        budget: HOSTILE.map((source, i) => ({ source, u: 1 + i })),
      })),
      readings: {
        ...output.readings,
        lowEdge: output.readings.lowEdge && { ...output.readings.lowEdge, shape: hostile() },
        highEdge: output.readings.highEdge && { ...output.readings.highEdge, shape: hostile() },
        interruptions: output.readings.interruptions.map((one) => ({ ...one, setting: hostile() })),
      },
      checks: output.checks.map(check),
      noise: output.noise && {
        ...output.noise,
        lines: HOSTILE.map((says, i) => ({ freqHz: 100 * (i + 1), levelDbv: -90, says })),
      },
    })),
    sums: result.sums.map((sum) => ({ ...sum, name: hostile(), because: hostile() })),
    source: result.source && { ...result.source, because: HOSTILE.map(hostile) },
    findings: result.findings.map((finding) => ({
      ...finding,
      title: hostile(),
      because: hostile(),
      next: hostile(),
    })),
    settings: result.settings.map(() => ({ name: hostile(), asked: hostile(), answer: hostile() })),
    stages: result.stages.map((stage) => ({
      ...stage,
      summary: hostile(),
      notes: HOSTILE.map(hostile),
      tables: stage.tables.map(({ head, rows }) => ({
        caption: hostile(),
        head: head.map(hostile),
        rows: rows.map(({ cells, verdict }) => ({ cells: cells.map(hostile), verdict })),
      })),
      plots: stage.plots.map((plot) => ({
        ...plot,
        caption: hostile(),
        alt: hostile(),
        x: { ...plot.x, says: hostile() },
        series: plot.series.map((one) => ({ ...one, name: hostile() })),
        limits: plot.limits.map((limit) => ({ ...limit, says: hostile() })),
        marks: plot.marks.map((mark) => ({ ...mark, says: hostile() })),
      })),
      corrections: stage.corrections.map((one) => ({ ...one, of: hostile() })),
    })),
    cautions: [...HOSTILE],
  }
}
