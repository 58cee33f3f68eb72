/** Trends over the vehicles of a platform: the spread of each output's figures, vehicles that stand apart, common findings. */

import type { Result } from '../verdict/result.js'
import { figuresOf } from './figures.js'
import { isOutlier, type Spread, scoreOf, spreadOf } from './spread.js'
import { findingsOf } from './summary.js'

/** What is followed of each output; of the stage standby every current is. */
const FOLLOWED: ReadonlySet<string> = new Set(['level', 'noise', 'noise A'])

export interface VehiclePoint {
  /** Which vehicle, in the order in which they were added, from 0. */
  readonly vehicle: number
  /** In the trend's unit. */
  readonly value: number
  /** Expanded uncertainty; null where it is not known. */
  readonly u: number | null
  readonly score: number | null
  readonly isOutlier: boolean
}

export interface Trend {
  readonly quantity: string
  readonly unit: string
  readonly outputNumber: number | null
  readonly label: string
  readonly spread: Spread
  readonly points: readonly VehiclePoint[]
}

export interface CommonFinding {
  readonly kind: string
  readonly outputs: readonly number[]
  /** As the last vehicle says it. */
  readonly title: string
  readonly vehicleCount: number
}

interface Row {
  readonly quantity: string
  readonly unit: string
  readonly outputNumber: number | null
  readonly label: string
  readonly points: { vehicle: number; value: number; u: number | null }[]
}

/** Takes one result after the other and keeps only what is followed, so that results need not be in memory together. */
export class TrendBuilder {
  private readonly rows = new Map<string, Row>()
  private readonly findings = new Map<string, { finding: CommonFinding; vehicles: number }>()
  private count = 0

  get vehicleCount(): number {
    return this.count
  }

  add(result: Result): void {
    const vehicle = this.count++
    for (const { part, outputNumber, label, name, figure } of figuresOf(result)) {
      const isFollowed = part === 'outputs' ? FOLLOWED.has(name) : part === 'standby' && figure.unit === 'A'
      if (!isFollowed || figure.value === null || figure.isAtMost || figure.isAtLeast) continue
      const { value, u, unit } = inTrendUnit(name, figure.value, figure.u, figure.unit)
      if (!Number.isFinite(value)) continue
      const key = JSON.stringify([part, outputNumber, name, unit])
      if (!this.rows.has(key)) this.rows.set(key, { quantity: name, unit, outputNumber, label, points: [] })
      const { points } = this.rows.get(key)!
      // One point for each vehicle: of figures with one name the first.
      if (points.at(-1)?.vehicle !== vehicle) points.push({ vehicle, value, u })
    }
    const seen = new Set<string>()
    for (const { kind, outputs, title, verdict } of findingsOf(result)) {
      const key = JSON.stringify([kind, outputs])
      if (verdict === 'pass' || seen.has(key)) continue
      seen.add(key)
      const vehicles = (this.findings.get(key)?.vehicles ?? 0) + 1
      this.findings.set(key, { vehicles, finding: { kind, outputs, title, vehicleCount: vehicles } })
    }
  }

  trends(): Trend[] {
    const order = ['level', 'noise', 'noise A']
    const place = ({ quantity }: { quantity: string }): number => (order.indexOf(quantity) + 4) % 4
    return [...this.rows.values()]
      .map((row) => {
        const spread = spreadOf(row.points.map(({ value }) => value))
        const points = row.points.map((point) => ({
          ...point,
          score: scoreOf(point.value, spread),
          isOutlier: isOutlier(point.value, point.u, spread),
        }))
        return { ...row, spread, points }
      })
      .sort((a, b) => place(a) - place(b) || (a.outputNumber ?? 0) - (b.outputNumber ?? 0))
  }

  /** The most common first. */
  commonFindings(): CommonFinding[] {
    return [...this.findings.values()].map(({ finding }) => finding).sort((a, b) => b.vehicleCount - a.vehicleCount)
  }
}

/** Levels spread evenly in decibels, not in volts. */
function inTrendUnit(
  name: string,
  value: number,
  u: number | null,
  unit: string,
): { value: number; u: number | null; unit: string } {
  if (name !== 'level' || unit !== 'V') return { value, u, unit }
  return { value: 20 * Math.log10(value), u: u === null ? null : (20 / Math.LN10) * (u / value), unit: 'dBV' }
}
