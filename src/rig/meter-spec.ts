/** What a rig file may say of a meter, beyond its accuracy: how its port is set, how its readings are told from its bytes. */

export type MeterDriver = 'simulated' | 'scpi' | 'lines' | 'frames'

/** How a serial port is set, besides its speed. Optical leads draw their power from DTR and RTS. */
export interface PortLine {
  readonly dataBits: 7 | 8
  readonly parity: 'none' | 'even' | 'odd'
  readonly stopBits: 1 | 2
  readonly isDtrOn: boolean
  readonly isRtsOn: boolean
}

/** What a meter can be set to, as far as this program asks for it; other: everything else. */
export const METER_FUNCTIONS = ['ac_volts', 'dc_volts', 'ohms', 'dc_amps', 'other'] as const
export type MeterFunction = (typeof METER_FUNCTIONS)[number]

/** Forms of printed readings that need no pattern of one's own. */
export const LINE_FORMS = ['value-unit-function', 'function-value-unit', 'comma-separated', 'value-alone'] as const
export type LineForm = (typeof LINE_FORMS)[number]

export const FRAME_KINDS = ['segments', 'characters'] as const
export type FrameKind = (typeof FRAME_KINDS)[number]

/** How one kind of line is read; exactly one of line and form is there. */
export interface LinePattern {
  /** Regular expression with the named parts value, unit, function, overload; only value has to be there. */
  readonly line: string | null
  readonly form: LineForm | null
  /** Sent before a line is waited for, as it is; null: the meter prints by itself. */
  readonly ask: string | null
  /** Unit of lines that name none. */
  readonly unit: string | null
  /** Function of lines that name none. */
  readonly function: MeterFunction | null
}

/** Baud as most meters of a driver are set when they come out of their box. */
export const USUAL_BAUD: Readonly<Record<MeterDriver, number>> = {
  simulated: 9600,
  scpi: 9600,
  lines: 9600,
  frames: 2400,
}

/** As most meters of a driver want their port. Optical leads for frames want DTR positive and RTS negative. */
export const usualLine = (driver: MeterDriver): PortLine => ({
  dataBits: 8,
  parity: 'none',
  stopBits: 1,
  isDtrOn: true,
  isRtsOn: driver !== 'frames',
})
