/** Points in time as ISO 8601 in UTC, counted without a clock. */

/** 2026-04-01T14:30:00Z, seconds with or without decimals. */
export const UTC_TIME =
  /^(\d{4})-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])T([01]\d|2[0-3]):([0-5]\d):([0-5]\d(?:\.\d{1,9})?)Z$/

const DAY_S = 86_400

/**
 * Days from one point in time to another; less than 0 where the second comes first.
 * @throws RangeError when one of them is not written as UTC_TIME wants it
 */
export const daysBetween = (from: string, to: string): number => (secondsOf(to) - secondsOf(from)) / DAY_S

function secondsOf(iso: string): number {
  const parts = UTC_TIME.exec(iso)
  if (!parts) throw new RangeError(`daysBetween: "${iso}", want 2026-04-01T14:30:00Z`)
  const [year, month, day, hour, minute, second] = parts.slice(1).map(Number)
  return dayNumber(year, month, day) * DAY_S + hour * 3600 + minute * 60 + second
}

/** Days of the Gregorian calendar, counted with the year beginning in March so that the leap day comes last. */
function dayNumber(year: number, month: number, day: number): number {
  const y = month <= 2 ? year - 1 : year
  const daysBefore = Math.floor((153 * ((month + 9) % 12) + 2) / 5)
  return 365 * y + Math.floor(y / 4) - Math.floor(y / 100) + Math.floor(y / 400) + daysBefore + day
}
