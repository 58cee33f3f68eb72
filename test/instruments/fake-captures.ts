/** Captures through tools that a test has put on PATH, and what their runs are told. */
import { AlsaCapture, type AlsaCaptureSpec } from '../../src/instruments/alsa-capture.js'
import { FfmpegCapture, type FfmpegCaptureSpec } from '../../src/instruments/ffmpeg-capture.js'
import type { Capture, CaptureFault } from '../../src/rig/roles.js'
import { complain } from './fake-tools.js'

const never = new AbortController().signal
const pause = (lengthS: number): Promise<void> => new Promise((resolve) => setTimeout(resolve, 1000 * lengthS))

export const DEVICE = 'hw:CARD=card,DEV=0'
export const alsa = (more: Partial<AlsaCaptureSpec> = {}): Capture =>
  new AlsaCapture({ device: DEVICE, sampleRateHz: 48_000, bits: 24, inputCount: 2, ...more })
export const ffmpeg = (more: Partial<FfmpegCaptureSpec> = {}): Capture =>
  new FfmpegCapture({
    device: 'Line In',
    inputFormat: 'dshow',
    sampleRateHz: 48_000,
    bits: 16,
    inputCount: 2,
    ...more,
  })

/** What arecord says of a stream that it has opened. */
export const RATE_SAID = complain('  rate         : 48000')

/** What ffmpeg says of a stream that it has opened. */
export const opened = (shape: string): string =>
  complain("Input #0, dshow, from 'audio=Line In':", `  Stream #0:0: Audio: pcm_s16le, ${shape}, s16, 1536 kb/s`)

interface Told {
  /** The fault while it ran. */
  readonly early: CaptureFault | null
  /** All of them at its end. */
  readonly all: readonly CaptureFault[]
}

/** Starts a run of the tool; what it is told comes later, so that several can run side by side. */
export async function begun(capture: Capture, waitS: number): Promise<{ readonly told: Promise<Told> }> {
  const run = await capture.start(() => {}, never)
  const early: { fault: CaptureFault | null } = { fault: null }
  void run.failed?.then((fault) => {
    early.fault = fault
  })
  const told = pause(waitS).then(async () => ({ early: early.fault, all: await run.stop() }))
  return { told }
}

export const faultsOf = async (capture: Capture, waitS: number): Promise<Told> => (await begun(capture, waitS)).told
