/** Noise, whine and supply with the engine running, held against their limits, and what follows from them. */
import type { Job } from '../job/job.js'
import { cyclesPerTurn, goesWithSpeed, partOfAlternator } from '../measure/alternator.js'
import type { Estimate } from '../measure/estimate.js'
import type { EngineFigures } from '../measure/settings-figures.js'
import { inDb, inDbv, inHz, inVolts, listed, plain } from '../units/words.js'
import { limitCheck } from './clean-checks.js'
import { figureOf, held, worst } from './decision.js'
import type { Check, Finding, Verdict } from './parts.js'
import { nearlyAll } from './shared-findings.js'

/** One output at one speed of the engine. */
export interface OutputAtSpeed {
  readonly number: number
  /** As the job calls it: idle, 2000 rpm. */
  readonly speed: string
  /** As the tachometer shows it. */
  readonly speedRpm: number
  readonly engine: EngineFigures
}

/** null where the meter gave no reading: more than its range. */
export interface SupplyAtSpeed {
  readonly speed: string
  readonly dcVolts: Estimate | null
  readonly ripple: Estimate | null
}

export interface JudgedOutput {
  readonly number: number
  readonly verdict: Verdict
  readonly checks: readonly Check[]
  /** Where its whine is strongest; null without one. */
  readonly whine: OutputAtSpeed | null
  readonly rise: OutputAtSpeed | null
  /** null: heard at one speed only, or at speeds too near each other. */
  readonly goesAlong: boolean | null
}

const STEADY = 'Take it again at a steady engine speed.'

/** @param all one output at all speeds */
export function judgeOutput(all: readonly OutputAtSpeed[], { limits, outputs }: Job): JudgedOutput {
  const { number } = all[0]
  const name = `output ${number} ${outputs.find((spec) => spec.number === number)!.label}`
  const strongest = (figureAt: (at: OutputAtSpeed) => Estimate | null): OutputAtSpeed | null =>
    all.reduce<OutputAtSpeed | null>((most, at) => {
      const value = figureAt(at)?.value
      return value !== undefined && (most === null || value > figureAt(most)!.value) ? at : most
    }, null)
  const whine = strongest(({ engine }) => engine.whineDbv)
  const rise = strongest(({ engine }) => engine.riseDb)
  const heardAt = all.flatMap(({ engine, speedRpm }) =>
    engine.whine ? [{ freqHz: Math.sqrt(engine.whine.lowHz * engine.whine.highHz), speedRpm }] : [],
  )
  const max = limits.whineDbvMax
  const checks = [
    whine
      ? limitCheck(`whine, ${name}`, 'dBV', whine.engine.whineDbv, { max }, inDbv, STEADY)
      : { ...noWhine(name), expected: `${inDbv(max)} or less` },
    ...(rise
      ? [
          limitCheck(
            `noise with the engine, ${name}`,
            'dB',
            rise.engine.riseDb,
            { max: limits.engineRiseDbMax },
            inDb,
            STEADY,
          ),
        ]
      : []),
  ]
  return {
    number,
    verdict: worst(checks.map(({ verdict }) => verdict)),
    checks,
    whine,
    rise,
    goesAlong: goesWithSpeed(heardAt),
  }
}

const noWhine = (name: string): Omit<Check, 'expected'> => ({
  name: `whine, ${name}`,
  verdict: 'pass',
  figure: null,
  measured: 'none',
  why: '',
})

/** Whining outputs are one finding, since they share a cause as often as not; outputs that are only noisier another. */
export function outputFindings(judged: readonly JudgedOutput[], job: Job): Finding[] {
  const { whineDbvMax, engineRiseDbMax } = job.limits
  const isOff = (one: JudgedOutput, which: 0 | 1): boolean => (one.checks[which]?.verdict ?? 'pass') !== 'pass'
  // A whine that is named accounts for the noise that it adds.
  const whining = judged.filter((one) => one.whine && (isOff(one, 0) || isOff(one, 1)))
  const noisy = judged.filter((one) => !one.whine && isOff(one, 1))
  const findings: Finding[] = []
  if (whining.length > 0) {
    const top = whining.reduce((a, b) => (b.whine!.engine.whineDbv!.value > a.whine!.engine.whineDbv!.value ? b : a))
    const { speed, speedRpm, engine } = top.whine!
    const { lowHz, highHz, orders } = engine.whine!
    const freqHz = Math.sqrt(lowHz * highHz)
    const isCommon = nearlyAll(whining.length, judged.length)
    const who = isCommon ? 'Nearly all outputs' : namesOf(whining, job)
    const verb = whining.length > 1 ? 'whine' : 'whines'
    findings.push({
      kind: 'whining',
      verdict: worst(whining.map(({ verdict }) => verdict)),
      outputs: whining.map(({ number }) => number),
      title:
        top.goesAlong === false
          ? `${who}: a tone that comes with the engine, but does not go with its speed`
          : `${who} ${verb} with the engine running`,
      because: `At ${speed}, output ${top.number} has a series at ${inHz(freqHz)} (orders ${listed(orders)}), ${inDbv(engine.whineDbv!.value)}; limit ${inDbv(whineDbvMax)}. ${alongWords(top, cyclesPerTurn(freqHz, speedRpm))}`,
      next: nextFor(top, isCommon),
    })
  }
  if (noisy.length > 0) {
    const top = noisy.reduce((a, b) => (b.rise!.engine.riseDb!.value > a.rise!.engine.riseDb!.value ? b : a))
    findings.push({
      kind: 'engine',
      verdict: worst(noisy.map(({ verdict }) => verdict)),
      outputs: noisy.map(({ number }) => number),
      title: `${namesOf(noisy, job)}: noisier with the engine running`,
      because: `At ${top.rise!.speed}, the noise of output ${top.number} rises by ${inDb(top.rise!.engine.riseDb!.value)}; limit ${inDb(engineRiseDbMax)}. No series of lines accounts for it.`,
      next: 'Check the grounds of interface and amplifier, and keep line leads away from ignition, injectors, alternator and their cables.',
    })
  }
  return findings
}

function alongWords({ goesAlong }: JudgedOutput, cycles: number): string {
  if (goesAlong === null) return 'Whether it goes with the speed of the engine was not to be told.'
  if (!goesAlong) return 'At another speed it has nearly the same frequency.'
  const part = partOfAlternator(cycles)
  const turns = `It goes with the speed of the engine, ${plain(cycles, 0)} periods for each turn`
  if (part === 'pulses') return `${turns}: the six pulses of an alternator.`
  return part === 'phase' ? `${turns}: an alternator with a diode open would do that.` : `${turns}.`
}

function nextFor({ goesAlong, whine }: JudgedOutput, isCommon: boolean): string {
  if (goesAlong === false) {
    return 'Look for what starts with the engine and keeps its own speed: fuel pump, fans, converters. Switch them off one by one.'
  }
  const { whine: series } = whine!.engine
  const cycles = cyclesPerTurn(series!.lowHz, whine!.speedRpm)
  const diode = partOfAlternator(cycles) === 'phase' ? ' Have the diodes of the alternator checked.' : ''
  return isCommon
    ? `It comes in where all outputs meet: check that interface, head unit and amplifier share one ground, then their supply.${diode}`
    : `It comes in on these leads alone: check their shields and plugs, keep them away from supply cables, and check the ground of the amplifier that they feed.${diode}`
}

const namesOf = (judged: readonly JudgedOutput[], job: Job): string =>
  judged.length > 3
    ? `Outputs ${listed(judged.map(({ number }) => number))}`
    : `Output${judged.length > 1 ? 's' : ''} ${listed(judged.map(({ number }) => `${number} ${job.outputs.find((spec) => spec.number === number)!.label}`))}`

export interface JudgedSupply {
  readonly at: SupplyAtSpeed
  readonly verdict: Verdict
  readonly checks: readonly Check[]
}

export function judgeSupply(at: SupplyAtSpeed, { engine }: Job): JudgedSupply {
  const { chargingVMin: min, chargingVMax: max, rippleVppMax } = engine
  const checks = [
    supplyCheck(`supply at ${at.speed}`, at.dcVolts, { min, max }, `${plain(min, 1)} to ${plain(max, 1)} V`, 2),
    supplyCheck(
      `ripple at ${at.speed}, peak to peak`,
      at.ripple,
      { max: rippleVppMax },
      `${inVolts(rippleVppMax)} or less`,
      null,
    ),
  ]
  return { at, verdict: worst(checks.map(({ verdict }) => verdict)), checks }
}

function supplyCheck(
  name: string,
  from: Estimate | null,
  limit: { readonly min?: number; readonly max: number },
  expected: string,
  decimals: number | null,
): Check {
  if (!from) {
    const why = 'The meter shows overload: choose a range that holds it, and take it again.'
    return { name, verdict: 'unsure', figure: null, expected, measured: 'overload', why }
  }
  const verdict = held(from.value, from.u, limit)
  const measured = decimals === null ? inVolts(from.value) : `${plain(from.value, decimals)} V`
  const why =
    verdict === 'pass'
      ? ''
      : verdict === 'fail'
        ? 'Further from its limit than the uncertainty.'
        : 'Nearer to its limit than the uncertainty: an oscilloscope, or a better meter, would tell.'
  return { name, verdict, figure: figureOf(name, 'V', from), expected, measured, why }
}

/** The worst speed of each kind speaks for all. */
export function supplyFindings(judged: readonly JudgedSupply[], { engine }: Job): Finding[] {
  const off = (which: 0 | 1): JudgedSupply[] => judged.filter(({ checks }) => checks[which].verdict !== 'pass')
  const findings: Finding[] = []
  const finding = (of: readonly JudgedSupply[], which: 0 | 1, title: string, because: string, next: string): void => {
    const verdict = worst(of.map(({ checks }) => checks[which].verdict))
    findings.push({ kind: 'engine', verdict, outputs: [], title, because, next })
  }
  const said = (of: readonly JudgedSupply[], which: 0 | 1): string =>
    listed(of.map(({ at, checks }) => `${checks[which].measured} at ${at.speed}`))
  const [charging, rippling] = [off(0), off(1)]
  if (charging.length > 0) {
    const isLow = charging.some(({ at }) => at.dcVolts !== null && at.dcVolts.value < engine.chargingVMin)
    finding(
      charging,
      0,
      `The supply is ${isLow ? 'too low' : 'out of its range'} with the engine running`,
      `${said(charging, 0)}; ${judged[0].checks[0].expected} is asked for.`,
      isLow
        ? 'Have alternator, belt and battery checked, and the drop on the supply leads and ground of the interface measured.'
        : 'Have the regulator of the alternator checked before anything stays connected.',
    )
  }
  if (rippling.length > 0) {
    finding(
      rippling,
      1,
      'The supply has too much ripple with the engine running',
      `${said(rippling, 1)}, peak to peak; ${judged[0].checks[1].expected} is asked for.`,
      "Have the alternator's diodes checked, then the battery's terminals and the ground straps.",
    )
  }
  return findings
}
