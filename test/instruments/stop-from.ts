/** The stop that some work ends with; anything else fails the test. */
import { expect } from 'vitest'
import { StopError } from '../../src/units/stop.js'

export async function stopFrom(work: Promise<unknown>): Promise<StopError> {
  const error = await work.then(
    () => null,
    (reason: unknown) => reason,
  )
  expect(error).toBeInstanceOf(StopError)
  return error as StopError
}
