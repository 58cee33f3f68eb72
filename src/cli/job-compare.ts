/** linetrue job compare JOB MAP: holds a vehicle's run against the map of its platform. */
import { parseMap } from '../job/platform-schema.js'
import { blindOutput } from '../measure/blind-output.js'
import { comparisonText } from '../report/map-text.js'
import { StopError } from '../units/stop.js'
import { compareWithMap } from '../verdict/compare-map.js'
import { EXIT } from './exit.js'
import { readText, shown } from './files.js'
import { numbersIn, runFolderOf, vehicleOfRun } from './map-runs.js'
import { Screen } from './screen.js'

export async function jobCompareCommand(run: string, mapPath: string, signal: AbortSignal): Promise<number> {
  const screen = new Screen()
  const map = parseMap(await readText(mapPath, 'map', 'Check the path of the map.'), shown(mapPath))
  const folder = await runFolderOf(run)
  try {
    const { platform, labels, source, measure } = await vehicleOfRun(folder, screen.progress, signal)
    if (platform !== null && platform !== map.platform) {
      throw new StopError(
        `the vehicle is of platform "${platform}", the map of "${map.platform}"`,
        `${shown(folder)} and ${shown(mapPath)}`,
        'Name the map of its own platform.',
      )
    }
    if (numbersIn(labels) !== numbersIn(map.outputs)) {
      throw new StopError(
        `the vehicle has outputs ${numbersIn(labels)}, the map ${numbersIn(map.outputs)}`,
        `${shown(folder)} and ${shown(mapPath)}`,
        'Name the map of its own platform.',
      )
    }
    const vehicle = (await measure()).map((lead) => ({ lead, output: blindOutput(lead) }))
    const comparison = compareWithMap(vehicle, map)
    screen.clear()
    process.stdout.write(`${comparisonText(comparison, map, `${source.vehicle} (${source.run})`, screen)}\n`)
    return EXIT[comparison.verdict]
  } finally {
    screen.clear()
  }
}
