/** Curves, sections and interruptions of an output, put into the shapes of a result. */
import type { BandEdge } from '../measure/band-edges.js'
import type { FoundEdge } from '../measure/equaliser.js'
import { COVERAGE_FACTOR } from '../measure/estimate.js'
import type { InputAnalysis } from '../measure/input-analysis.js'
import type { OutputMeasures } from '../measure/outputs.js'
import { fullScaleAtLead } from '../rig/rig.js'
import { dbFromRatio } from '../units/level.js'
import type { InterruptionResult, Readings } from './readings.js'

const KIND_WORDS = { peaking: 'peaking', low_shelf: 'low shelf', high_shelf: 'high shelf' } as const
/** Of the audio band, on the vehicle's side (common practice, no source). */
const PROCESSING_HZ = 48_000

const expanded = (u: number): number => COVERAGE_FACTOR * u

export function readingsOf(one: OutputMeasures): Readings {
  const { equaliser, edges, groupDelay, crosstalk, lead, engine, volumes } = one
  return {
    equalisation: equaliser && {
      isExplained: equaliser.isExplained,
      sections: equaliser.sections.map(({ kind, gainDb, gainDbU, freqHz, freqHzU, q, qU, undo }) => ({
        kind: KIND_WORDS[kind],
        gainDb,
        gainU: expanded(gainDbU),
        freqHz,
        freqU: expanded(freqHzU),
        q,
        qU: expanded(qU),
        undoGainDb: undo.gainDb,
      })),
      leftWorstDb: equaliser.residualDb.worst,
      leftRmsDb: equaliser.residualDb.rms,
      processingHz: PROCESSING_HZ,
    },
    lowEdge: edgeOf(edges?.low ?? null, equaliser?.lowEdge ?? null),
    highEdge: edgeOf(edges?.high ?? null, equaliser?.highEdge ?? null),
    groupDelay: groupDelay && {
      freqHz: [...groupDelay.freqHz],
      delayS: [...groupDelay.delayS],
      u: groupDelay.delayU.map(expanded),
    },
    crosstalk: crosstalk && {
      freqHz: crosstalk.curve.map(({ freqHz }) => freqHz),
      levelDb: crosstalk.curve.map(({ levelDb }) => levelDb),
      u: crosstalk.curve.map(({ levelDbU }) => expanded(levelDbU)),
      isAtMost: crosstalk.curve.map(({ isAtMost }) => isAtMost),
    },
    distortion: one.isDead ? null : distortionCurve(lead.analysis),
    staircase: staircaseOf(one),
    interruptions: interruptionsOf(one),
    volumes: volumes.map(({ volume, change, levelChangeDb }) => ({
      volume,
      levelChangeDb: levelChangeDb.value,
      levelChangeU: levelChangeDb.u,
      hasLoudness: change.hasLoudness,
      shape: {
        freqHz: change.shape.map(({ freqHz }) => freqHz),
        liftDb: change.shape.map(({ liftDb }) => liftDb),
        u: change.shape.map(({ liftU }) => expanded(liftU)),
      },
    })),
    whine: engine?.whine
      ? {
          lowHz: engine.whine.lowHz,
          highHz: engine.whine.highHz,
          orders: [...engine.whine.orders],
          isMoving: engine.whine.isMoving,
        }
      : null,
  }
}

const edgeOf = (edge: BandEdge | null, fitted: FoundEdge | null): Readings['lowEdge'] =>
  edge && {
    freqHz: edge.cornerHz,
    freqU: expanded(edge.cornerHzU),
    slopeDbPerOctave: edge.slopeDbPerOctave,
    shape:
      fitted && edge.isFromFit ? `${fitted.isSquared ? 'Linkwitz-Riley' : 'Butterworth'}, order ${fitted.order}` : null,
  }

function distortionCurve({ sweepDistortion }: InputAnalysis): Readings['distortion'] {
  if (!sweepDistortion || sweepDistortion.points.length === 0) return null
  const { points, sourcePeakFs } = sweepDistortion
  return {
    freqHz: points.map(({ freqHz }) => freqHz),
    thdPct: points.map(({ thd }) => 100 * thd.value),
    u: points.map(({ thd }) => expanded(100 * thd.u)),
    isAtMost: points.map(({ thd }) => thd.isAtMost),
    sourceDbfs: dbFromRatio(sourcePeakFs),
  }
}

function staircaseOf({ staircase, lead }: OutputMeasures): Readings['staircase'] {
  if (!staircase) return null
  const fullScaleVrms = fullScaleAtLead(lead.input)
  const { steps, freqHz, kind } = staircase
  return {
    freqHz,
    kind,
    sourceDbfs: steps.map(({ sourceDbfs }) => sourceDbfs),
    levelVrms: steps.map(({ peakFs }) => peakFs * fullScaleVrms),
    gainDb: steps.map(({ gainDb }) => gainDb),
    thdPct: steps.map(({ thd }) => 100 * thd.value),
    isAtMost: steps.map(({ thd }) => thd.isAtMost),
  }
}

const interruptionsOf = ({ interruptions }: OutputMeasures): InterruptionResult[] =>
  interruptions.map(({ interruption, setting, isCommon }) => ({
    kind: interruption.kind,
    atSample: interruption.atSample,
    atSampleU: expanded(interruption.atSampleU),
    atS: interruption.atS,
    lengthSamples: interruption.lengthSamples,
    lateSamples: interruption.lateSamples,
    setting,
    isCommon,
  }))
