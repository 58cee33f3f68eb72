/** The stop that a call ends in; any other ending is passed on or fails the test. */
import { StopError } from '../../src/units/stop.js'

export function stopOf(call: () => unknown): StopError {
  try {
    call()
  } catch (error) {
    if (error instanceof StopError) return error
    throw error
  }
  throw new Error('no stop was thrown')
}
