/** Trends of a platform as one HTML page that needs nothing else: what stands apart first, then spreads, then what is common. */
import { plain } from '../units/words.js'
import { quantityInWords } from './format.js'
import { Markup, markup } from './markup.js'
import { STYLE } from './style.js'
import { table } from './table.js'
import { type ShownTrend, trendChart } from './trends-chart.js'

export interface ShownFinding {
  readonly kind: string
  readonly title: string
  readonly vehicleCount: number
}

export interface TrendsPage {
  /** Platform, or what else was asked for. */
  readonly title: string
  /** One for each vehicle, in the order of the points. */
  readonly vehicles: readonly string[]
  readonly trends: readonly ShownTrend[]
  readonly findings: readonly ShownFinding[]
  /** How outliers are told, with its source. */
  readonly rule: string
  readonly notes: readonly string[]
  readonly program: string
}

/** Even if something slipped through, the page may load and run nothing. */
const POLICY = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; base-uri 'none'; form-action 'none'"

const TREND_STYLE = `
.dots circle{fill:none;stroke:var(--curve);stroke-width:1}
.dots .apart{stroke:var(--fail);fill:var(--fail)}
.dots .middle{stroke:var(--ink);stroke-width:2}
`

export function trendsPage({ title, vehicles, trends, findings, rule, notes, program }: TrendsPage): string {
  const quantities = [...new Set(trends.map(({ quantity }) => quantity))]
  const count = `${vehicles.length} vehicle${vehicles.length === 1 ? '' : 's'}`
  return markup`<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="${POLICY}">
<title>Trends · ${title}</title>
<link rel="icon" href="data:,">
<style>${new Markup(STYLE + TREND_STYLE)}</style>
</head>
<body>
<header class="head"><p class="kind">Trends over vehicles</p><h1>${title}</h1><p>${count}. Of each vehicle the newest finished run counts.</p></header>
<main>
${notes.map((says) => markup`<p><b>Note:</b> ${says}</p>`)}
<section><h2>Vehicles that stand apart</h2>
${apartTable(vehicles, trends)}
<p>${rule}</p></section>
${quantities.map((quantity, k) => quantityPart(quantity, k, trends))}
<section><h2>What is found often</h2>
${findingTable(findings, vehicles.length)}</section>
</main>
<footer><p>Made by ${program}. The same numbers stand in trends.csv beside this file.</p></footer>
</body>
</html>
`.text
}

function apartTable(vehicles: readonly string[], trends: readonly ShownTrend[]): Markup {
  const rows = trends.flatMap((trend) =>
    trend.points.filter(({ isOutlier }) => isOutlier).map((point) => ({ trend, point })),
  )
  if (rows.length === 0) return markup`<p>None does.</p>`
  return table({
    kind: 'brief',
    says: 'Vehicles that stand apart',
    caption: 'Score: how many robust standard deviations from the median.',
    rows,
    columns: [
      { heading: 'Vehicle', cell: ({ point }) => vehicles[point.vehicle] },
      { heading: 'Output', cell: ({ trend }) => placeOf(trend) },
      { heading: 'Figure', cell: ({ trend }) => quantityInWords(trend.quantity) },
      { heading: 'Value', isNumber: true, cell: ({ trend, point }) => inTrendUnit(trend, point.value) },
      { heading: 'Median', isNumber: true, cell: ({ trend }) => inTrendUnit(trend, trend.spread.median) },
      { heading: 'Score', isNumber: true, cell: ({ point }) => scoreWords(point.score) },
    ],
  })
}

function quantityPart(quantity: string, place: number, trends: readonly ShownTrend[]): Markup {
  const rows = trends.filter((trend) => trend.quantity === quantity)
  return markup`<section><h2>${quantityInWords(quantity)}</h2>
<article class="charts dots">${trendChart(`trend-${place}`, rows)}</article>
${table({
  kind: 'brief',
  says: `Spread of ${quantity}`,
  caption: 'Spread: the median distance from the median over 0.6745, which is the standard deviation of normal values.',
  rows,
  columns: [
    { heading: 'Output', cell: placeOf },
    { heading: 'Vehicles', isNumber: true, cell: ({ spread }) => spread.count },
    { heading: 'Median', isNumber: true, cell: (trend) => inTrendUnit(trend, trend.spread.median) },
    {
      heading: 'Spread',
      isNumber: true,
      cell: (trend) => (trend.spread.spread === null ? 'too few' : spreadWords(trend, trend.spread.spread)),
    },
    { heading: 'Lowest', isNumber: true, cell: (trend) => inTrendUnit(trend, trend.spread.min) },
    { heading: 'Highest', isNumber: true, cell: (trend) => inTrendUnit(trend, trend.spread.max) },
  ],
})}</section>`
}

const findingTable = (findings: readonly ShownFinding[], vehicleCount: number): Markup =>
  findings.length === 0
    ? markup`<p>Nothing was found.</p>`
    : table({
        kind: 'brief',
        says: 'What is found often',
        caption: 'Each vehicle counts once.',
        rows: findings,
        columns: [
          { heading: 'Finding', cell: ({ title }) => title },
          { heading: 'Kind', cell: ({ kind }) => kind },
          {
            heading: 'Vehicles',
            isNumber: true,
            cell: ({ vehicleCount: n }) => `${n} of ${vehicleCount} (${Math.round((100 * n) / vehicleCount)} %)`,
          },
        ],
      })

const placeOf = ({ outputNumber, label }: ShownTrend): string =>
  outputNumber === null ? 'vehicle' : `${outputNumber} ${label}`

/** Amperes in mA, for a vehicle at rest draws few of them. */
const isCurrent = ({ unit }: ShownTrend): boolean => unit === 'A'
const inTrendUnit = (trend: ShownTrend, value: number): string =>
  isCurrent(trend) ? `${plain(1000 * value, 2)} mA` : `${plain(value, 2)} ${trend.unit}`
const spreadWords = (trend: ShownTrend, value: number): string =>
  isCurrent(trend) ? inTrendUnit(trend, value) : `${plain(value, 2)} dB`
const scoreWords = (score: number | null): string =>
  score === null ? '–' : Number.isFinite(score) ? plain(score, 1) : 'all others alike'
