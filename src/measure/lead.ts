/** One lead of one patch with all that was analysed of it: what figures of an output are made from. */
import type { RigInput } from '../rig/rig.js'
import type { Setting } from '../rig/roles.js'
import type { InputAnalysis } from './input-analysis.js'

export interface LeadData {
  readonly outputNumber: number
  readonly patchName: string
  readonly inputNumber: number
  readonly input: RigInput
  readonly captureBits: number
  readonly analysis: InputAnalysis
  /** The same lead at the other settings of which a take was made. */
  readonly others: ReadonlyMap<Setting, InputAnalysis>
}
