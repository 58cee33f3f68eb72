import { test } from 'vitest'
import { baseOf, draw, RATE_HZ } from './chain.js'
import { locate } from '../../src/measure/locate.js'
import { sweepReference } from '../../src/measure/transfer.js'
import { analyseInput } from '../../src/measure/analyse.js'
import { measureOutputs } from '../../src/measure/outputs.js'
test('prof', () => {
  let t = performance.now()
  const lap = (s: string) => { const n = performance.now(); console.log(s, (n - t).toFixed(0)); t = performance.now() }
  const base = baseOf(1); lap('base')
  for (let s = 1; s < 6; s++) {
    const d = draw(base, s, 80); lap('draw')
    try {
    const loc = locate({ sampleRateHz: RATE_HZ, channels: d.channels }, 'x'); lap('locate')
    const ref = sweepReference(loc); lap('ref')
    const a = d.channels.map((c) => analyseInput(c, loc, ref)); lap('analyse')
    const leads = a.map((analysis, k) => ({ outputNumber: k + 1, patchName: 'p', inputNumber: k + 1, input: d.inputs[k], captureBits: 24, analysis, others: new Map() }))
    measureOutputs(d.job, leads); lap('outputs')
    } catch (e) { console.log(String(e)) }
  }
}, 60000)
