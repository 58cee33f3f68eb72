/** One amplifier channel: can its gain reach what is wanted, is it set there, and is it clean up to its rated power. */
import type { AmplifierSpec } from '../job/gains.js'
import type { Job } from '../job/job.js'
import { type Estimate, estimate } from '../measure/estimate.js'
import { type GainTarget, powerW, settingOffDb, TARGET_METHOD } from '../measure/gain-structure.js'
import { type MeterSpec, meterLimitVrms } from '../rig/rig.js'
import { inDb, inHz, inVolts, plain } from '../units/words.js'
import { figureOf, held } from './decision.js'
import type { Part } from './gain-part.js'
import type { Check, Finding, Verdict } from './parts.js'

/** A channel as it was set; volts rms at its terminals. */
export interface ChannelVolts {
  readonly readVrms: number
  /** Seen on the attenuated input; null where there is none. */
  readonly clipping: {
    /** Where distortion passes the limit; the highest that was reached where it does not. */
    readonly vrms: number
    readonly isAtLeast: boolean
    /** Relative standard uncertainties of the volts. */
    readonly budget: Readonly<Record<string, number>>
    readonly isCardOverdriven: boolean
  } | null
}

export interface ChannelOutcome {
  readonly spec: AmplifierSpec
  readonly freqHz: number | null
  /** null: nothing reaches its input. */
  readonly target: GainTarget | null
  /** null: not set. */
  readonly reading: ChannelVolts | null
  readonly wasLeftOut: boolean
}

export function channelPart(
  { spec, freqHz, target, reading, wasLeftOut }: ChannelOutcome,
  job: Job,
  meter: MeterSpec,
): Part {
  const { name, ratedW, loadOhm, overlapDb } = spec
  const base = { kind: 'gain' as const, outputs: [...spec.outputs] }
  const notSet = (why: string, verdict: Verdict): Check => ({
    name: `gain, ${name}`,
    verdict,
    figure: null,
    expected: target ? `${inVolts(target.terminalVrms)} ± ${job.gains.toleranceDb} dB` : 'a signal at its input',
    measured: 'not set',
    why,
  })
  if (!target || freqHz === null) {
    return {
      checks: [notSet('Nothing reaches its input: see the stage of the outputs.', 'unsure')],
      findings: [],
      figures: [],
    }
  }
  const figures = [
    figureOf(`output volts for rated power, ${name}`, 'V', estimate(target.ratedVrms, {}, TARGET_METHOD)),
    figureOf(`sensitivity to set, ${name}`, 'V', target.wantedVrms),
  ]
  const range = spec.sensitivityVrms
  const findings: Finding[] = []
  const checks: Check[] = []
  if (target.reach !== 'within' && range) {
    const isLow = target.reach === 'too little input'
    const reachedW = powerW(target.terminalVrms, loadOhm)
    checks.push({
      name: `sensitivity, ${name}`,
      verdict: 'fail',
      figure: figureOf('sensitivity to set', 'V', target.wantedVrms),
      expected: `${inVolts(range.min)} to ${inVolts(range.max)}`,
      measured: inVolts(target.wantedVrms.value),
      why: isLow ? 'Its gain fully up is not enough.' : 'Its gain fully down is too much.',
    })
    findings.push({
      ...base,
      verdict: 'fail',
      title: isLow ? `${name} cannot reach its rated power` : `The gain of ${name} cannot be turned down enough`,
      because: `${inVolts(target.wantedVrms.value)} at its input for a recording at ${plain(overlapDb, 0)} dBFS; its gain goes from ${inVolts(range.min)} to ${inVolts(range.max)}.${isLow ? ` Fully up it gives ${plain(reachedW, 0)} of ${plain(ratedW, 0)} W.` : ''}`,
      next: isLow
        ? 'Raise the level of these outputs in the interface, or use an amplifier with a more sensitive input.'
        : `Lower the level of these outputs, or put an attenuator of ${plain(Math.ceil(target.padDb), 0)} dB in front of it.`,
    })
  }
  if (target.reach === 'too much input') return { checks, findings, figures }
  if (!reading) {
    checks.push(notSet(wasLeftOut ? 'It was left out.' : 'It was not measured.', 'unsure'))
    return { checks, findings, figures }
  }
  const { readVrms, clipping } = reading
  const meterU = meterLimitVrms(meter, readVrms)
  const off = settingOffDb(readVrms, target.terminalVrms, meterU, freqHz)
  const tolerance = job.gains.toleranceDb
  const isDead = off.value < DEAD_DB
  const isDriven = off.value > -tolerance - off.u
  // Clipping that was seen tells; that none was seen does so only where the terminals were driven up to rated power.
  const doesTell = clipping && (!clipping.isAtLeast || (isDriven && !clipping.isCardOverdriven))
  const clip = doesTell ? clippingPart(spec, clipping) : null
  const isHeldDown = off.value < 0 && clip?.check.verdict === 'fail'
  const found = held(off.value, off.u, { min: -tolerance, max: tolerance })
  const verdict = isHeldDown && found === 'fail' ? 'unsure' : found
  checks.push({
    name: `gain, ${name}`,
    verdict,
    figure: figureOf('terminal volts over target', 'dB', off),
    expected: `${inVolts(target.terminalVrms)} ± ${tolerance} dB at ${inHz(freqHz)}, ${plain(overlapDb, 0)} dBFS`,
    measured: `${inVolts(readVrms)} (${inDb(off.value)})`,
    why:
      verdict === 'pass'
        ? ''
        : isHeldDown
          ? 'It clips before it gets there.'
          : verdict === 'unsure'
            ? `The limit lies within the uncertainty of ± ${plain(off.u, 2)} dB.`
            : isDead
              ? 'Nothing comes out of it.'
              : `It is ${inDb(off.value)} from its target.`,
  })
  figures.push(
    figureOf(
      `terminal volts, ${name}`,
      'V',
      estimate(readVrms, { 'meter specification': meterU / Math.sqrt(3) }, 'steady tone by the meter/1', { freqHz }),
    ),
  )
  if (verdict !== 'pass' && !isHeldDown) findings.push(settingFinding(spec, target, readVrms, off, verdict))
  if (clip) {
    checks.push(clip.check)
    figures.push(clip.check.figure && { ...clip.check.figure, quantity: `power at clipping, ${name}` })
    if (clip.finding) findings.push(clip.finding)
  }
  return { checks, findings, figures }
}

/** So far under its target an amplifier gives nothing. */
export const DEAD_DB = -30

function settingFinding(
  spec: AmplifierSpec,
  target: GainTarget,
  readVrms: number,
  off: Estimate,
  verdict: Verdict,
): Finding {
  const { name, outputs, overlapDb } = spec
  const base = {
    kind: 'gain' as const,
    verdict,
    outputs: [...outputs],
    because: `The meter reads ${inVolts(readVrms)} at its terminals, ${inVolts(target.terminalVrms)} is wanted for ${plain(spec.ratedW, 0)} W into ${spec.loadOhm} Ω; U ± ${plain(off.u, 2)} dB.`,
  }
  const turn = `until the meter shows ${inVolts(target.terminalVrms)} with the tone at ${plain(overlapDb, 0)} dBFS, and run the stage again.`
  if (off.value < DEAD_DB) {
    return {
      ...base,
      title: `Nothing comes out of ${name}`,
      next: 'Check supply, remote turn-on, protection light and input leads of this channel.',
    }
  }
  if (verdict === 'unsure') {
    return { ...base, title: `The gain of ${name} may be off: ${inDb(off.value)}`, next: `Turn it ${turn}` }
  }
  return off.value > 0
    ? {
        ...base,
        title: `The gain of ${name} is set too high: ${inDb(off.value)}`,
        next: `It is at rated power before the recording is at ${plain(overlapDb, 0)} dBFS. Turn it down ${turn}`,
      }
    : {
        ...base,
        title: `The gain of ${name} is set too low: ${inDb(off.value)}`,
        next: `Turn it up ${turn} If the reading does not follow any more, the amplifier clips: check its supply.`,
      }
}

function clippingPart(
  { name, outputs, ratedW, loadOhm }: AmplifierSpec,
  { vrms, isAtLeast, budget }: NonNullable<NonNullable<ChannelOutcome['reading']>['clipping']>,
): { check: Check; finding: Finding | null } {
  const watts = powerW(vrms, loadOhm)
  // Power goes with the square of the volts.
  const uW = Object.fromEntries(Object.entries(budget).map(([source, u]) => [source, 2 * u * watts]))
  const found = estimate(watts, uW, 'power where the terminals clip, 1 % THD/1', { isAtLeast })
  const verdict = held(watts, found.u, { min: ratedW }, { isAtLeast })
  const measured = `${isAtLeast ? 'no clipping up to' : 'clips from'} ${inVolts(vrms)}, ${plain(watts, 0)} W`
  const check: Check = {
    name: `clipping, ${name}`,
    verdict,
    figure: figureOf('power at clipping', 'W', found),
    expected: `clean up to ${plain(ratedW, 0)} W into ${loadOhm} Ω`,
    measured,
    why:
      verdict === 'pass'
        ? ''
        : verdict === 'fail'
          ? 'It clips below its rated power.'
          : `Rated power lies within the uncertainty of ± ${plain(found.u, 1)} W.`,
  }
  if (verdict !== 'fail') return { check, finding: null }
  return {
    check,
    finding: {
      kind: 'gain',
      verdict,
      outputs: [...outputs],
      title: `${name} clips at ${plain(watts, 0)} W, below its rated ${plain(ratedW, 0)} W`,
      because: `Its terminals have more than 1 % THD from ${inVolts(vrms)} on.`,
      next: 'Check its supply voltage under load, fuse and cable; then that rated power and load in the job are those of its data sheet. Set the gain for the power that it has.',
    },
  }
}
