/** Whether the disk has room for what a run is about to write: asked before anything plays. */
import { statfs } from 'node:fs/promises'
import { StopError } from '../units/stop.js'

/** What a capture holds besides the track: a start by hand, and the tail. */
const BESIDE_TRACK_S = 8
/** Result, report, job, rig and journal. */
const BESIDE_TAKES_BYTE_COUNT = 4e6

export interface RoomNeeded {
  readonly takeCount: number
  readonly inputCount: number
  readonly sampleRateHz: number
  readonly bits: number
  readonly trackS: number
}

/** Bytes that takes of this kind and a result take at most. */
export function roomFor({ takeCount, inputCount, sampleRateHz, bits, trackS }: RoomNeeded): number {
  const takeByteCount = inputCount * sampleRateHz * (bits / 8) * (trackS + BESIDE_TRACK_S)
  return takeCount * takeByteCount + BESIDE_TAKES_BYTE_COUNT
}

/**
 * @param removable files that may be deleted to make room, for the message
 * @throws StopError when the disk has less room than this needs; a disk that does not tell its room is trusted
 */
export async function checkRoom(folder: string, need: RoomNeeded, removable: readonly string[] = []): Promise<void> {
  const disk = await statfs(folder).catch(() => null)
  if (disk === null || disk.blocks === 0) return
  const [freeByteCount, wantByteCount] = [disk.bavail * disk.bsize, roomFor(need)]
  if (freeByteCount >= wantByteCount) return
  const { takeCount, inputCount, sampleRateHz, bits, trackS } = need
  const takes = `${takeCount} take${takeCount === 1 ? '' : 's'} of ${inputCount} input${inputCount === 1 ? '' : 's'}`
  const format = `${bits} bits, ${sampleRateHz / 1000} kHz, ${Math.round(trackS + BESIDE_TRACK_S)} s each`
  const what = takeCount === 0 ? 'the result' : `the run, with its ${takes} (${format}) and the result,`
  const also = removable.length === 0 ? '' : ` ${removable.join(', ')} may go: no finished take.`
  throw new StopError(
    `the disk has room for ${inMegabytes(freeByteCount, Math.floor)}; ${what} takes up to ${inMegabytes(wantByteCount, Math.ceil)}`,
    folder,
    `Make room on the disk, then give the same command again.${also}`,
    'instrument',
  )
}

const inMegabytes = (byteCount: number, round: (value: number) => number): string => `${round(byteCount / 1e6)} MB`
