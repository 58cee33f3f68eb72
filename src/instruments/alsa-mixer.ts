/**
 * A card's own controls as `amixer contents` lists them: whatever changes what is captured on its way is looked for.
 *
 * Source: the form of amixer's list, alsa-utils; dB scales as the driver gives them in a control's TLV.
 */
import { StopError } from '../units/stop.js'
import { runTool } from './tool.js'

export interface Control {
  readonly id: number
  readonly name: string
  readonly type: string
  readonly values: readonly string[]
  /** Names of an enumeration's choices. */
  readonly items: readonly string[]
  /** null: the card doesn't tell decibels. */
  readonly scale: Scale | null
}
interface Scale {
  readonly min: number
  readonly max: number
  readonly minDb: number
  readonly maxDb: number
}

/** Half of the finest steps that cards have. */
const OFFSET_DB_MAX = 0.1
const PROCESSING =
  /auto(?:matic)?[ -]?gain|\bAGC\b|noise[ -]?(?:suppress|cancel|reduc)|echo[ -]?cancel|limiter|compressor/i

/** @throws StopError when the card mutes, amplifies or processes what is captured; a card without controls is untouched */
export async function checkMixer(card: string, where: string, signal: AbortSignal): Promise<void> {
  const text = await runTool('amixer', ['-c', card, 'contents'], where, signal).catch((error: unknown) => {
    if (error instanceof StopError) return ''
    throw error
  })
  const trouble = mixerTrouble(parseControls(text), card)
  if (trouble !== null) throw new StopError(trouble.says, where, trouble.remedy, 'instrument')
}

export function mixerTrouble(
  controls: readonly Control[],
  card: string,
): { readonly says: string; readonly remedy: string } | null {
  const set = (control: Control, value: string): string => `amixer -c ${card} cset numid=${control.id} ${value}`
  const processing = controls.find((control) => PROCESSING.test(control.name) && isOn(control))
  if (processing) {
    return {
      says: `the card changes what it captures: its control "${processing.name}" is on`,
      remedy: `Switch it off: ${set(processing, processing.type === 'BOOLEAN' ? 'off' : '0')}`,
    }
  }
  const switches = controls.filter(({ name, type }) => type === 'BOOLEAN' && /\bCapture(?: \d+)? Switch$/.test(name))
  // A card may have several paths, and only one has to be open.
  if (switches.length > 0 && switches.every((control) => !isOn(control))) {
    return {
      says: `the capture is muted: the card's control "${switches[0].name}" is off`,
      remedy: `Switch it on: ${set(switches[0], 'on')}`,
    }
  }
  for (const control of controls) {
    if (!/\bCapture(?: \d+)? Volume$/.test(control.name) || control.scale === null) continue
    const itsSwitch = switches.find(({ name }) => name === control.name.replace(/Volume$/, 'Switch'))
    if (itsSwitch && !isOn(itsSwitch)) continue
    const { scale } = control
    const neutralDb = Math.min(Math.max(0, scale.minDb), scale.maxDb)
    const offsets = control.values.map((value) => dbAt(Number(value), scale) - neutralDb)
    const offsetDb = offsets.reduce((worst, offset) => (Math.abs(offset) > Math.abs(worst) ? offset : worst), 0)
    if (Math.abs(offsetDb) <= OFFSET_DB_MAX) continue
    const neutral = Math.round(
      scale.min + ((neutralDb - scale.minDb) / (scale.maxDb - scale.minDb || 1)) * (scale.max - scale.min),
    )
    return {
      says: `the card's control "${control.name}" is ${offsetDb.toFixed(1)} dB off, so every level would be`,
      remedy: `Set it to ${neutralDb.toFixed(1)} dB: ${set(control, String(neutral))}`,
    }
  }
  return null
}

const isOn = ({ type, values, items }: Control): boolean =>
  values.some((value) =>
    type === 'ENUMERATED'
      ? !/^(?:off|none|disabled?)$/i.test(items[Number(value)] ?? 'off')
      : /^(?:on|[1-9]\d*)$/.test(value),
  )

const dbAt = (value: number, { min, max, minDb, maxDb }: Scale): number =>
  max === min ? minDb : minDb + ((value - min) / (max - min)) * (maxDb - minDb)

export function parseControls(text: string): Control[] {
  return text
    .split(/^(?=numid=)/m)
    .filter((entry) => entry.startsWith('numid='))
    .map((entry) => {
      const field = (name: string): string => new RegExp(`\\b${name}=([^,\\n]*)`).exec(entry)?.[1] ?? ''
      const [min, max] = [Number(field('min')), Number(field('max'))]
      return {
        id: Number(field('numid')),
        name: /name='(.*?)'(?:,|$)/m.exec(entry)?.[1] ?? '',
        type: field('type'),
        values: (/^ {2}: values=(.*)$/m.exec(entry)?.[1] ?? '').split(',').filter((value) => value !== ''),
        items: [...entry.matchAll(/^ {2}; Item #\d+ '(.*)'$/gm)].map(([, item]) => item),
        scale: scaleIn(entry, min, max),
      }
    })
}

/** dBscale: so much at the least value, so much more for each step; dBminmax: at both ends. */
function scaleIn(entry: string, min: number, max: number): Scale | null {
  const byStep = /dBscale-min=(-?[\d.]+)dB,step=(-?[\d.]+)dB/.exec(entry)
  if (byStep) {
    const minDb = Number(byStep[1])
    return { min, max, minDb, maxDb: minDb + (max - min) * Number(byStep[2]) }
  }
  const byEnds = /dBminmax(?:mute)?-min=(-?[\d.]+)dB,max=(-?[\d.]+)dB/.exec(entry)
  return byEnds && { min, max, minDb: Number(byEnds[1]), maxDb: Number(byEnds[2]) }
}
