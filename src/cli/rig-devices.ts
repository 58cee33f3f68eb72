/** linetrue rig devices: what this computer has, as it goes into a rig file. */
import { devicesText } from '../report/devices-text.js'
import { EXIT } from './exit.js'
import { findAll } from './found.js'
import { Screen } from './screen.js'

/** Ends with 0 whatever there is: nothing plugged in is an answer, not a fault. */
export async function rigDevicesCommand(signal: AbortSignal): Promise<number> {
  const found = await findAll(signal)
  const { isColour, columnCount } = new Screen()
  const text = devicesText(
    {
      ...found,
      // The sound server's outputs are the computer's own, and called so in a rig file.
      players: found.players.map((device) => ({
        ...device,
        driver: device.driver === 'pulse' ? 'computer' : device.driver,
      })),
    },
    { isColour, columnCount },
  )
  process.stdout.write(`${text}\n`)
  return EXIT.pass
}
