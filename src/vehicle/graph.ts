/**
 * The linear part of the vehicle as a Web Audio graph: head unit, source matrix, filters.
 *
 * It runs on the capture's clock (see `render.ts`), at the capture's nominal rate; frequencies are divided by the ratio of
 * the two clocks, so that they are true on the player's. Samples are Float32 between nodes: 149 dB below a tone, measured.
 */
import type {
  AudioNode,
  BiquadFilterNode,
  ChannelMergerNode,
  ChannelSplitterNode,
  GainNode,
  IIRFilterNode,
  OfflineAudioContext,
} from 'web-audio-api'
import type { HeadUnitState } from './head-unit.js'
import type { OutputModel } from './model.js'
import type { Pace } from './pace.js'
import { coefficientsOf, type Filter } from './sections.js'

/** The rendering stops this often to let the caller breathe. */
const PIECE_S = 2

/** Constructors with options, as the Web Audio standard has them; the library's types leave them out. */
type Making<Options, Node> = new (context: OfflineAudioContext, options: Options) => Node
interface Nodes {
  readonly Gain: Making<{ gain: number }, GainNode>
  readonly Biquad: Making<
    { type: BiquadFilterNode['type']; frequency: number; Q: number; gain: number },
    BiquadFilterNode
  >
  readonly Iir: Making<{ feedforward: readonly number[]; feedback: readonly number[] }, IIRFilterNode>
  readonly Splitter: Making<{ numberOfOutputs: number }, ChannelSplitterNode>
  readonly Merger: Making<{ numberOfInputs: number }, ChannelMergerNode>
}

/** A node's output that something can be connected to. */
interface Tap {
  readonly node: AudioNode
  readonly output: number
}

/** Channels of equal length. */
export interface GraphSource {
  readonly left: Float32Array
  readonly right: Float32Array
  /** A third source, for the outputs that have a gain for it, and the side whose volume and tone it has. */
  readonly surround: { readonly from: 'left' | 'right'; readonly samples: Float32Array } | null
}

/**
 * @param outputs up to 32
 * @param clockRatio the capture's clock over the player's
 * @returns one channel for each output, 1 where its side gains and filters leave a full-scale sample at 1
 */
export async function renderGraph(
  headUnit: HeadUnitState,
  outputs: readonly OutputModel[],
  source: GraphSource,
  sampleRateHz: number,
  clockRatio: number,
  pace: Pace,
): Promise<Float32Array[]> {
  if (outputs.length === 0) return []
  // The library is heavy, and most commands render nothing.
  const library = await import('web-audio-api')
  const nodes = {
    Gain: library.GainNode,
    Biquad: library.BiquadFilterNode,
    Iir: library.IIRFilterNode,
    Splitter: library.ChannelSplitterNode,
    Merger: library.ChannelMergerNode,
  } as unknown as Nodes
  const { surround } = source
  const channels = [source.left, source.right, ...(surround ? [surround.samples] : [])]
  const frameCount = source.left.length
  const context = new library.OfflineAudioContext(outputs.length, frameCount, sampleRateHz)

  const gained = ({ node, output }: Tap, gain: number): Tap => {
    if (gain === 1) return { node, output }
    const made = new nodes.Gain(context, { gain })
    node.connect(made, output)
    return { node: made, output: 0 }
  }
  const summed = (taps: readonly Tap[]): Tap => {
    if (taps.length === 1) return taps[0]
    const sum = new nodes.Gain(context, { gain: 1 })
    for (const { node, output } of taps) node.connect(sum, output)
    return { node: sum, output: 0 }
  }
  const filtered = (from: readonly Tap[], filters: readonly Filter[]): Tap => {
    // The first filter sums what comes in, so that it needs no node of its own.
    const [first, ...others] = filters.map((filter) => filterNode(nodes, context, filter, clockRatio))
    if (first === undefined) return summed(from)
    for (const { node, output } of from) node.connect(first, output)
    return { node: others.reduce<AudioNode>((node, next) => node.connect(next), first), output: 0 }
  }

  const buffer = context.createBuffer(channels.length, frameCount, sampleRateHz)
  channels.forEach((channel, index) => {
    buffer.copyToChannel(channel as Float32Array<ArrayBuffer>, index)
  })
  const player = context.createBufferSource()
  player.buffer = buffer
  const splitter = new nodes.Splitter(context, { numberOfOutputs: channels.length })
  player.connect(splitter)

  const { leftGain, rightGain } = headUnit
  const gains = [leftGain, rightGain, surround?.from === 'right' ? rightGain : leftGain]
  const sides = channels.map((_, output) => ({ tap: { node: splitter, output } satisfies Tap, gain: gains[output] }))
  const heads = sides.map(({ tap, gain }, index) =>
    headUnit.isMono && index < 2 ? null : filtered([gained(tap, gain)], headUnit.tone),
  )
  if (headUnit.isMono) {
    const halves = sides.slice(0, 2).map(({ tap, gain }) => gained(tap, gain / 2))
    heads.fill(filtered(halves, headUnit.tone), 0, 2)
  }

  const merger = new nodes.Merger(context, { numberOfInputs: outputs.length })
  outputs.forEach(({ leftGain, rightGain, surroundGain, filters }, index) => {
    const shares = [leftGain, rightGain, surround ? surroundGain : 0]
    const heard = shares.flatMap((gain, side) => (gain === 0 ? [] : [gained(heads[side]!, gain)]))
    const { node, output } = filtered(heard, filters)
    node.connect(merger, output, index)
  })
  merger.connect(context.destination)
  player.start(0)

  // A context that is not resumed after a stop is dropped with its promise.
  const stopped = new Promise<never>((_, reject) => {
    for (let atS = PIECE_S; atS < frameCount / sampleRateHz; atS += PIECE_S) {
      context
        .suspend(atS)
        .then(() => pace.breathe())
        .then(() => {
          pace.signal.throwIfAborted()
          return context.resume()
        })
        .catch(reject)
    }
  })
  const rendered = await Promise.race([context.startRendering(), stopped])
  return outputs.map((_, index) => rendered.getChannelData(index))
}

function filterNode(nodes: Nodes, context: OfflineAudioContext, filter: Filter, clockRatio: number): AudioNode {
  const freqHz = filter.freqHz / clockRatio
  switch (filter.kind) {
    case 'low_pass':
    case 'high_pass':
      // The standard's low- and high-pass take Q in decibels.
      return new nodes.Biquad(context, {
        type: filter.kind === 'low_pass' ? 'lowpass' : 'highpass',
        frequency: freqHz,
        Q: 20 * Math.log10(filter.q),
        gain: 0,
      })
    case 'peaking':
      return new nodes.Biquad(context, { type: 'peaking', frequency: freqHz, Q: filter.q, gain: filter.gainDb })
    case 'all_pass':
      return new nodes.Biquad(context, { type: 'allpass', frequency: freqHz, Q: filter.q, gain: 0 })
    default: {
      // The standard's shelves have no Q, and it has no first-order filter.
      const { b, a } = coefficientsOf({ ...filter, freqHz }, context.sampleRate)
      return new nodes.Iir(context, { feedforward: b, feedback: a })
    }
  }
}
