import { readFileSync } from 'node:fs'
import { expect, test } from 'vitest'
import { parseJob } from '../../src/job/parse.js'
import { checkMarker } from '../../src/stages/soft-start.js'
import { openingSpacingS, sectionStartS, TRACK_REVISION } from '../../src/stimulus/layout.js'
import { playTrack } from '../kit/track.js'
import { wireOf } from '../kit/vehicle.js'
import { rigWith } from '../measure/lead-probe-world.js'

const JOB = parseJob(readFileSync(new URL('../../captures/quillon/job.yaml', import.meta.url), 'utf8'), 'job.yaml')
const MARKER_S = openingSpacingS(TRACK_REVISION) + 0.3

const markerOf = (number: number, gainDb: number) => {
  const track = playTrack({ toS: 3 })
  const wire = Float32Array.from(wireOf(JOB.outputs[number - 1], track, { gainDb }))
  const from = Math.round(sectionStartS('opening') * 48_000)
  return { sampleRateHz: 48_000, channels: [wire.subarray(from, from + Math.round(MARKER_S * 48_000))] }
}

// A chirp is at its full peak somewhere in every output's band: 7 dB over the map are 7 dB over, whatever the band.
test.each(JOB.outputs.map(({ number, label }) => [number, label] as const))(
  'the marker of a track that a person starts stops the run where output %d %s is 7 dB over the map, not at 5 dB',
  (number) => {
    const patch = { name: 'patch 1', leads: [{ inputNumber: 1, outputNumber: number }] }
    expect(() => checkMarker(markerOf(number, 5), JOB, rigWith(1), patch)).not.toThrow()
    expect(() => checkMarker(markerOf(number, 7), JOB, rigWith(1), patch)).toThrow(
      /on the track's marker, the map expects .*\(patch 1, input 1\)\. Stop the track at the head unit now\./,
    )
  },
)
