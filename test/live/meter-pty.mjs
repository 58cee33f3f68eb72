// A multimeter on standard input and output that speaks SCPI, or prints by itself; `meter.ts` puts it behind a pseudo-terminal.
//
// Run: METER=MeterScript-as-JSON node meter-pty.mjs
// What it answers stands in the script (type MeterScript in meter.ts), faults included. Every line that it was sent is
// said on standard error, as is "ready". A question that it does not know gets no answer, but an error for SYST:ERR?.
import { readFileSync } from 'node:fs'

const script = JSON.parse(process.env.METER)
const lineEnd = script.lineEnd ?? '\n'
const errors = []
const asked = new Map()

/** The volts that the vehicle's output has now, as a meter prints them. */
function volts() {
  const { path, outputNumber } = script.levels
  return JSON.parse(readFileSync(path, 'utf8'))[outputNumber - 1].toExponential(6).toUpperCase()
}

function answer(question) {
  const answers = script.answers?.[question]
  if (answers) {
    const turn = asked.get(question) ?? 0
    asked.set(question, turn + 1)
    return answers[Math.min(turn, answers.length - 1)]
  }
  if (question === '*IDN?') return 'Example Works,BM-1,0001,1.0'
  if (question === 'CONF:VOLT:AC' && script.levels) return { silence: true }
  if (['READ?', 'MEAS:VOLT:AC?'].includes(question) && script.levels) return volts()
  if (question === 'SYST:ERR?') return errors.shift() ?? '0,"No error"'
  errors.push('-113,"Undefined header"')
  return { silence: true }
}

const pause = (lengthS) => new Promise((resolve) => setTimeout(resolve, 1000 * lengthS))
const send = (text) => process.stdout.write(Buffer.from(text, 'latin1'))

async function give(reply) {
  if (typeof reply === 'string') send(reply + lineEnd)
  else if (reply.unplug) process.exit(0)
  else if (reply.raw !== undefined) send(reply.raw)
  else if (reply.afterS !== undefined) {
    await pause(reply.afterS)
    send(reply.text + lineEnd)
  } else if (reply.pieces) {
    for (const piece of reply.pieces) {
      send(piece)
      await pause(reply.everyS)
    }
  }
}

// One answer after the other, as a meter does: the next waits until the last one is out.
let talking = Promise.resolve()
let typed = ''
process.stdin.on('data', (bytes) => {
  typed += bytes.toString('latin1')
  const lines = typed.split(/\r\n|\r|\n/)
  typed = lines.pop()
  for (const line of lines.filter((text) => text !== '')) {
    console.error(`asked ${line}`)
    const reply = answer(line)
    talking = talking.then(() => give(reply))
  }
})
async function print({ items, everyS }) {
  for (let turn = 0; ; turn++) {
    await give(items[turn % items.length])
    await pause(everyS)
  }
}
if (script.prints) print(script.prints)
console.error('ready')
