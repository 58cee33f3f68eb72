/**
 * The error that a person at the bench can do something about: what happened, where, what to do.
 *
 * Anything else that is thrown is a fault in this program and is not caught.
 */
export type StopKind = 'input' | 'instrument'

export class StopError extends Error {
  override readonly name = 'StopError'
  constructor(
    readonly what: string, // 'meter answered "ERR-113" to "MEAS:VOLT:AC?"'
    readonly where: string, // port, device name, or file with line and key
    readonly remedy: string, // one thing to do, as an instruction
    readonly kind: StopKind = 'input', // bad input ends with exit status 3, an instrument or the machine with 4
    options?: { cause: unknown },
  ) {
    super(`${what} (${where}). ${remedy}`, options)
  }
}
