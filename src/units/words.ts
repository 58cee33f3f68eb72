/** Numbers in words, for checks and findings: few digits, unit, a real minus sign. */

const MINUS = '\u2212'

/** A number with fixed decimals and a real minus sign. */
export function plain(value: number, decimals: number): string {
  const digits = Math.abs(value).toFixed(decimals)
  return value < 0 && Number(digits) !== 0 ? MINUS + digits : digits
}

/** A difference: with its sign, unless it rounds to nothing. */
export function signed(value: number, decimals: number): string {
  const digits = plain(value, decimals)
  return value > 0 && Number(digits) !== 0 ? `+${digits}` : digits
}

export function inVolts(vrms: number): string {
  if (vrms >= 10) return `${vrms.toFixed(1)} V`
  if (vrms >= 0.1) return `${vrms.toFixed(2)} V`
  return vrms >= 0.0001 ? `${plain(1000 * vrms, vrms >= 0.01 ? 0 : 1)} mV` : `${plain(1e6 * vrms, 0)} µV`
}

export const inDb = (valueDb: number): string => `${signed(valueDb, 1)} dB`
export const inDbv = (levelDbv: number): string => `${plain(levelDbv, 1)} dBV`

export function inHz(freqHz: number): string {
  if (freqHz >= 10_000) return `${(freqHz / 1000).toFixed(1)} kHz`
  if (freqHz >= 1000) return `${Number((freqHz / 1000).toFixed(2))} kHz`
  return `${freqHz >= 100 ? freqHz.toFixed(0) : Number(freqHz.toFixed(1))} Hz`
}

export const inMs = (timeS: number): string => `${signed(1000 * timeS, Math.abs(timeS) < 0.001 ? 3 : 2)} ms`

export function inPct(valuePct: number): string {
  if (valuePct >= 10) return `${valuePct.toFixed(0)} %`
  return `${valuePct >= 1 ? valuePct.toFixed(1) : Number(valuePct.toPrecision(2))} %`
}

/** A list as people say it: 1, 2 and 3. */
export function listed(items: readonly (string | number)[]): string {
  if (items.length < 2) return items.join('')
  return `${items.slice(0, -1).join(', ')} and ${items.at(-1)}`
}
