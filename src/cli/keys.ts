/** Single keys from a terminal, without Enter, and the terminal as it was before when it is over. */

export interface Keys {
  /** Gives the terminal back; safe to call twice. */
  close(): void
}

/**
 * Hears keys as they are pressed, where there is a terminal to press them at.
 *
 * @param onKey gets each character; Ctrl-C is no key: it stops the command as everywhere
 */
export function hearKeys(onKey: (key: string) => void): Keys {
  const { stdin } = process
  if (stdin.isTTY !== true) return { close: () => {} }
  const onData = (text: string): void => {
    for (const key of text) {
      // A raw terminal makes no signal of it.
      if (key === '\x03') process.kill(process.pid, 'SIGINT')
      else onKey(key)
    }
  }
  const giveBack = (): void => {
    stdin.setRawMode(false)
  }
  stdin.setRawMode(true)
  stdin.setEncoding('utf8')
  stdin.on('data', onData)
  stdin.resume()
  // A second Ctrl-C ends the program at once.
  process.once('exit', giveBack)
  let isOpen = true
  return {
    close: () => {
      if (!isOpen) return
      isOpen = false
      process.off('exit', giveBack)
      stdin.off('data', onData)
      stdin.pause()
      giveBack()
    },
  }
}
