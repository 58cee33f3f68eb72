/** Waiting that ends with a signal's reason. */

export async function sleep(waitS: number, signal?: AbortSignal): Promise<void> {
  signal?.throwIfAborted()
  await new Promise<void>((resolve, reject) => {
    const onAbort = (): void => {
      clearTimeout(timer)
      reject(signal?.reason)
    }
    const timer = setTimeout(() => {
      signal?.removeEventListener('abort', onAbort)
      resolve()
    }, 1000 * waitS)
    signal?.addEventListener('abort', onAbort, { once: true })
  })
}
