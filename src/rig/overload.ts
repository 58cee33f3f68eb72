/** What a meter shows beyond its range: in ohms an open circuit, which for a stage is an answer and no fault of the bench. */
import { StopError } from '../units/stop.js'

export class MeterOverload extends StopError {}
