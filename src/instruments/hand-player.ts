/** A stick, disc or phone that a person starts: the track finds itself in the take, so a rough start is good enough. */
import type { Player } from '../rig/roles.js'

/** @param ask shows the person what to do; resolves when it is done */
export const handPlayer = (ask: (prompt: string, signal: AbortSignal) => Promise<void>): Player => ({
  where: 'the head unit, started by hand',
  async play(_audio, signal) {
    signal.throwIfAborted()
    await ask('Start the track on the head unit now, from its beginning, then confirm.', signal)
  },
})
