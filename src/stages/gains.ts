/**
 * Gain structure: how loud the head unit may go before an output clips, then each amplifier channel's gain set there, with the
 * meter at its terminals.
 */
import { type GainTarget, gainTarget } from '../measure/gain-structure.js'
import { isStartedByHand } from '../rig/rig.js'
import { StopError } from '../units/stop.js'
import { inVolts } from '../units/words.js'
import { cleanVolume } from '../verdict/clean-volume.js'
import type { ChannelOutcome } from '../verdict/gain-channel-part.js'
import { GAIN_CAUTIONS, judgeGains } from '../verdict/gain-judgement.js'
import { type ChannelReading, setChannel } from './gain-channel.js'
import { scanVolumes } from './gain-volume.js'
import { inSteps, type Stage, type StageContext } from './stage.js'

export const gainsStage: Stage = async (context) => {
  const { job, rig, bench, guide, memory, signal, now } = context
  checkCan(context)
  const startedAt = now().toISOString()
  for (const caution of GAIN_CAUTIONS) guide.say(`Caution: ${caution}`)
  const limitPct = job.gains.thdPctMax ?? job.limits.thdPctMax
  const { tried, takes, notes } = await scanVolumes(context, limitPct)
  const clean = cleanVolume(tried, limitPct)
  // With nothing clean the lowest volume is what there is.
  const at = tried[Math.max(0, clean.highestIndex)]
  await bench.set(at.volume === null ? 'reference' : `volume_${at.volume}`, signal)
  const planned = job.amplifiers.map((spec) => {
    const input = at.inputs.find(({ channel }) => channel === spec.name) ?? null
    return { spec, input, target: input && gainTarget(spec, input.fullScaleVrms, input.budget) }
  })
  const settable = planned.flatMap(({ spec, input, target }) =>
    // More than full gain down can take would only be clipped.
    input && target && target.reach !== 'too much input' && isAlive(target) ? [{ spec, input, target }] : [],
  )
  const read = await inSteps<ChannelReading>(
    settable.map(({ spec, input, target }) => ({
      key: `channel ${spec.name}`,
      run: () => setChannel(context, { spec, target, freqHz: input.freqHz, volume: at.volume }),
    })),
    memory,
    signal,
  )
  await bench.act({ kind: 'meter', to: { at: 'input' } }, signal)
  await bench.set('reference', signal)
  const channels = planned.map(({ spec, input, target }): ChannelOutcome => {
    const place = settable.findIndex((one) => one.spec === spec)
    return {
      spec,
      freqHz: input?.freqHz ?? null,
      target: target && isAlive(target) ? target : null,
      reading: place < 0 ? null : read[place],
      wasLeftOut: place >= 0 && read[place] === null,
    }
  })
  return {
    stage: 'gains',
    startedAt,
    endedAt: now().toISOString(),
    ...judgeGains(job, rig.meter!, tried, clean, channels),
    corrections: [],
    takes: [...takes, ...read.flatMap((one) => one?.takes ?? [])],
    notes: [
      ...notes,
      ...planned.flatMap(({ spec, target }) =>
        target && isAlive(target)
          ? []
          : [`Nothing reaches ${spec.name}: its outputs are dead or in different patches.`],
      ),
    ],
    cautions: [...GAIN_CAUTIONS],
  }
}

/** Under this an input carries noise. */
const ALIVE_VRMS = 0.01
const isAlive = ({ fullScaleVrms }: GainTarget): boolean => fullScaleVrms > ALIVE_VRMS

function checkCan({ job, rig, bench }: StageContext): void {
  if (job.amplifiers.length === 0) {
    const remedy = 'Add amplifiers: for each channel its name, outputs, rated_w and load_ohm.'
    throw new StopError('the job names no amplifier channels', `${job.name}, amplifiers`, remedy)
  }
  if (isStartedByHand(rig.player)) {
    const remedy = 'Use a player that this program starts: computer, alsa or ffmpeg.'
    throw new StopError(
      'gains needs steady tones while a person turns, and nobody can start them',
      `${rig.name}, player`,
      remedy,
    )
  }
  if (!bench.meter) {
    const remedy = 'Add meter to the rig file: its driver, port, across_input and accuracy.'
    throw new StopError('gains needs a meter at the amplifier terminals', `${rig.name}, meter`, remedy)
  }
  const wired = job.gains.terminalInput
  if (wired && wired.inputNumber > rig.inputs.length) {
    const remedy = `Name one of its ${rig.inputs.length} inputs, or leave amplifier_input out.`
    throw new StopError(`the rig has no input ${wired.inputNumber}`, `${job.name}, gains.amplifier_input`, remedy)
  }
  if (wired) {
    const least = Math.max(...job.amplifiers.map(({ ratedW, loadOhm }) => Math.sqrt(ratedW * loadOhm)))
    const input = rig.inputs[wired.inputNumber - 1]
    const takesVrms = input.fullScaleVrms * 10 ** ((input.padDb + wired.padDb) / 20)
    if (takesVrms >= least) return
    throw new StopError(
      `input ${wired.inputNumber} takes ${inVolts(takesVrms)} through its attenuator, an amplifier puts out ${inVolts(least)}`,
      `${job.name}, gains.amplifier_input`,
      'Use an attenuator of more decibels, and write them into pad_db.',
    )
  }
}
