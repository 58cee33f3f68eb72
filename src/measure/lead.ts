/** One lead of one patch with all that was analysed of it: what figures of an output are made from. */
import type { RigInput } from '../rig/rig.js'
import type { InputAnalysis } from './analysis.js'

export interface LeadData {
  readonly outputNumber: number
  readonly patchName: string
  readonly inputNumber: number
  readonly input: RigInput
  readonly captureBits: number
  readonly analysis: InputAnalysis
  /** The same lead with the fader to the front, if that take was made. */
  readonly faderFront: InputAnalysis | null
}
