/** The meter of a rig file to its checked form: names renamed once, what is usual for its driver filled in. */
import { USUAL_BAUD, usualLine } from './meter-spec.js'
import type { MeterSpec } from './rig.js'
import type { MeterFields } from './schema-meter.js'

export function meterOf(meter: MeterFields): MeterSpec {
  const { driver } = meter
  const usual = usualLine(driver)
  const line = {
    dataBits: meter.data_bits,
    parity: meter.parity,
    stopBits: meter.stop_bits,
    isDtrOn: meter.dtr === undefined ? usual.isDtrOn : meter.dtr === 'on',
    isRtsOn: meter.rts === undefined ? usual.isRtsOn : meter.rts === 'on',
  }
  const patterns = meter.patterns?.map((pattern) => ({
    line: pattern.line ?? null,
    form: pattern.form ?? null,
    ask: pattern.ask === undefined ? null : withoutEscapes(pattern.ask),
    unit: pattern.unit ?? null,
    function: pattern.function ?? null,
  }))
  return {
    driver,
    port: meter.port ?? null,
    baudRate: meter.baud_rate ?? USUAL_BAUD[driver],
    inputNumber: meter.across_input,
    accuracyPct: meter.accuracy_pct,
    accuracyVrms: meter.accuracy_vrms,
    ...(driver !== 'simulated' && { line }),
    ...(patterns && { patterns }),
    ...(meter.functions && { functions: meter.functions }),
    ...(driver === 'frames' && { frame: meter.frame ?? 'segments' }),
  }
}

/** YAML turns \r and \n in double quotes into the characters; in single or no quotes it leaves that to us. */
const withoutEscapes = (text: string): string => text.replaceAll('\\r', '\r').replaceAll('\\n', '\n')
