/** The text of a map file: values as a job's channel map has them, and beside them what is known of each. */
import { stringify } from 'yaml'
import { dbv, vrmsFromDbv } from '../units/level.js'
import type { Learned, LearnedCorner, MapOutput, PlatformMap } from './platform.js'

/** @returns text that `parseMap` reads back, rounded far below the uncertainties that it states */
export function mapText({ platform, vehicles, notes, outputs }: PlatformMap): string {
  const count = vehicles.length
  const lines = [
    '# The channel map of a platform, learned from vehicles that were known to be good: linetrue job learn made it.',
    '# A new vehicle of it: linetrue job new FILE --map THIS; is a vehicle like it: linetrue job compare JOB THIS.',
    '# What each field may hold: linetrue schema map.',
    `platform: ${quoted(platform)}`,
    '',
    `vehicles: # ${count === 1 ? 'one vehicle: nothing is known of how they differ' : `${count} vehicles`}`,
    ...vehicles.map(
      ({ run, date, vehicle, verdict }) =>
        `  - { run: ${quoted(run)}, date: ${quoted(date)}, vehicle: ${quoted(vehicle)}, verdict: ${verdict} }`,
    ),
    ...(notes.length === 0 ? [] : ['', 'notes:', ...notes.map((note) => `  - ${quoted(note)}`)]),
    '',
    '# learned: u is the expanded uncertainty (k = 2), spread the standard deviation from vehicle to vehicle, tolerance how far',
    '# another good vehicle may be off: what is usual, u and spread together. Change a tolerance where you know better.',
    'outputs:',
    ...outputs.flatMap(outputLines),
  ]
  return `${lines.join('\n')}\n`
}

function outputLines(output: MapOutput): string[] {
  const { number, label, left, right, share, low, high, shape, levelDbv, referenceHz, polarity, delay, pair } = output
  const band = bandLine(output)
  return [
    `  - number: ${number}`,
    `    label: ${quoted(label)}`,
    `    left: ${rounded(left, 4)}`,
    `    right: ${rounded(right, 4)}`,
    ...(band === null ? [] : [`    ${band}`]),
    `    level_vrms: ${rounded(vrmsFromDbv(dbv(levelDbv.value)), 5)}`,
    `    reference_hz: ${rounded(referenceHz, 6)}`,
    `    polarity: ${polarity === null ? 'unknown' : polarity === 1 ? 'normal' : 'inverted'}`,
    `    fader: ${output.fader}`,
    ...(delay === null ? [] : [`    delay_ms: ${Number((1000 * delay.value).toFixed(5))}`]),
    ...(pair === null ? [] : [`    pair: ${quoted(pair)}`]),
    '    learned:',
    `      sides: ${known(share)}`,
    `      level_db: ${known(levelDbv)}`,
    ...(low === null ? [] : [`      low_pct: ${corner(low)}`]),
    ...(high === null ? [] : [`      high_pct: ${corner(high)}`]),
    ...(delay === null ? [] : [`      delay_ms: ${known(delay, 1000)}`]),
    `      delay_group: ${output.delayGroup}`,
    `      fader: ${output.faderFrom}`,
    ...unlikeJob(low, high, shape),
  ]
}

/** A job knows slopes of 24 dB an octave alone. */
function unlikeJob(low: LearnedCorner | null, high: LearnedCorner | null, shape: string): string[] {
  const slopes = [low, high].flatMap((edge) => (edge?.slopeDbPerOctave ? [edge.slopeDbPerOctave] : []))
  return slopes.every((slope) => Math.abs(slope - USUAL_SLOPE) < 3)
    ? []
    : [
        `    # Its slopes are not the 24 dB an octave that a job expects of ${shape}: verify may find its band edge off.`,
      ]
}

const USUAL_SLOPE = 24

/** The band as a job has it; null for full range. */
export function bandLine({ low, high, shape }: Pick<MapOutput, 'low' | 'high' | 'shape'>): string | null {
  if (low === null && high === null) return null
  const parts = [
    ...(low === null ? [] : [`low_hz: ${rounded(low.value, 6)}`]),
    ...(high === null ? [] : [`high_hz: ${rounded(high.value, 6)}`]),
    `shape: ${shape}`,
  ]
  return `band: { ${parts.join(', ')} }`
}

const corner = (edge: LearnedCorner): string =>
  edge.slopeDbPerOctave === null
    ? known(edge)
    : known(edge).replace(/ }$/, `, slope_db_per_octave: ${rounded(edge.slopeDbPerOctave, 3)} }`)

/** @param factor from the unit of the value to that of the file */
function known({ u, tolerance, spread }: Learned, factor = 1): string {
  const parts = [
    `u: ${rounded(factor * u, 3)}`,
    `tolerance: ${rounded(factor * tolerance, 3)}`,
    ...(spread === null ? [] : [`spread: ${rounded(factor * spread, 3)}`]),
  ]
  return `{ ${parts.join(', ')} }`
}

export const rounded = (value: number, digits: number): number => Number(value.toPrecision(digits))

/** Quoted only where YAML needs it, inside of a flow map too. */
export const quoted = (text: string): string => {
  const plain = stringify(text, { lineWidth: 0 }).trimEnd()
  return /^["']/.test(plain) || !/[,{}[\]#:]|^\s|\s$/.test(plain) ? plain : JSON.stringify(text)
}
