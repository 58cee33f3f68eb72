/**
 * Everything that a live run needs, on a computer without sound hardware: a sound server, a vehicle in real time
 * between its two null sinks, and a meter across one output. The program under test plays to sink `radio` and captures
 * `outputs.monitor`.
 */
import { writeFileSync } from 'node:fs'
import { dirname, join } from 'node:path'
import { fileURLToPath } from 'node:url'
import { type MeterScript, type PtyMeter, startPtyMeter } from './meter.js'
import { run, until } from './processes.js'
import { LIVE_OUTPUT_COUNT, type PulseServer, startPulse } from './pulse.js'

/** One section of the Audio EQ Cookbook; q is 0.7071 and gainDb 0 where left out. */
export interface FilterDescription {
  readonly type: 'lowpass' | 'highpass' | 'allpass' | 'peaking' | 'lowshelf' | 'highshelf'
  readonly freqHz: number
  readonly q?: number
  readonly gainDb?: number
}

export interface OutputDescription {
  readonly leftGain: number
  readonly rightGain: number
  /** At the lead, for a full-scale sine on a side that is heard with gain 1. */
  readonly levelVrms: number
  readonly polarity?: 1 | -1
  /** Rounded to whole samples. */
  readonly delayS?: number
  readonly faderGroup?: 'front' | 'rear' | 'none'
  readonly filters?: readonly FilterDescription[]
  /** White, over the whole band up to half the sample rate. */
  readonly noiseVrms?: number
  /** Where the output clips. */
  readonly clipVpk?: number
}

export interface VehicleDescription {
  /** Rms voltage of the sine that reaches full scale in outputs.monitor: the rig file's full_scale_vrms, pad included. */
  readonly fullScaleVrms: number
  /** Output 1 first; at most 12. */
  readonly outputs: readonly OutputDescription[]
}

export interface LiveWorld {
  /** To be merged over process.env for the program under test. */
  readonly env: PulseServer['env']
  /** For the rig file: capture.device, player.device, meter.port. */
  readonly captureDevice: 'outputs.monitor'
  readonly playerDevice: 'radio'
  readonly meterPort: string | null
  readonly pulse: PulseServer
  readonly meter: PtyMeter | null
  /** A folder that goes away with the world. */
  readonly folder: string
  setFader(position: 'middle' | 'front'): Promise<void>
  /** What the vehicle said of sound that came too late: a busy computer, not a fault of the program under test. */
  glitches(): string[]
  /** Ends all processes; safe to call twice. */
  stop(): Promise<void>
}

/**
 * @param options.meterAcrossOutput number of the output that the meter reads; null: no meter
 * @param options.meterScript faults of the meter, over its readings
 */
export async function startLiveWorld(options: {
  vehicle: VehicleDescription
  meterAcrossOutput: number | null
  meterScript?: MeterScript
}): Promise<LiveWorld> {
  const { vehicle, meterAcrossOutput } = options
  if (vehicle.outputs.length > LIVE_OUTPUT_COUNT)
    throw new RangeError(`startLiveWorld: ${vehicle.outputs.length} outputs`)
  const pulse = await startPulse()
  const closers: (() => Promise<void>)[] = [() => pulse.stop()]
  const stop = async (): Promise<void> => {
    for (const close of closers.splice(0).reverse()) await close()
  }
  try {
    const [descriptionPath, levelsPath] = [join(pulse.folder, 'vehicle.json'), join(pulse.folder, 'levels.json')]
    writeFileSync(descriptionPath, JSON.stringify(vehicle))
    writeFileSync(levelsPath, JSON.stringify(vehicle.outputs.map(() => 0)))
    const car = run(process.execPath, ['vehicle.mjs', descriptionPath, levelsPath], {
      cwd: dirname(fileURLToPath(import.meta.url)),
      env: { ...process.env, ...pulse.env },
    })
    closers.push(() => car.stop())
    await until(
      () => car.says().includes('running'),
      10,
      () => `the vehicle says: ${car.says()}`,
    )
    let meter: PtyMeter | null = null
    if (meterAcrossOutput !== null) {
      meter = await startPtyMeter({
        levels: { path: levelsPath, outputNumber: meterAcrossOutput },
        ...options.meterScript,
      })
      const started = meter
      closers.push(() => started.stop())
    }
    return {
      env: pulse.env,
      captureDevice: 'outputs.monitor',
      playerDevice: 'radio',
      meterPort: meter?.port ?? null,
      pulse,
      meter,
      folder: pulse.folder,
      async setFader(position) {
        const before = car.says().length
        car.process.stdin?.write(`${JSON.stringify({ fader: position })}\n`)
        await until(
          () => car.says().slice(before).includes(`fader ${position}`),
          2,
          () => car.says(),
        )
      },
      glitches: () =>
        car
          .says()
          .split('\n')
          .filter((line) => /underrun|overrun/i.test(line)),
      stop,
    }
  } catch (error) {
    await stop()
    throw error
  }
}
