/**
 * Lets waiting events run in the midst of a long computation, so that an interrupt is heard while the model renders.
 *
 * This folder knows no timers. A message to oneself comes back behind the events that are waiting already; a settled
 * promise would come before them.
 */
export function breathe(): Promise<void> {
  return new Promise((resolve) => {
    const { port1, port2 } = new MessageChannel()
    port1.onmessage = () => {
      port1.close()
      resolve()
    }
    port2.postMessage(null)
  })
}
