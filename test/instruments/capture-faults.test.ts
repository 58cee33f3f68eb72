/** Faults of a capture that runs, by tools that say and do what the real ones do then. */
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest'
import { alsa, begun, DEVICE, faultsOf, ffmpeg, opened, RATE_SAID } from './fake-captures.js'
import { complain, type FakeTools, fakeTools, noiseS } from './fake-tools.js'

vi.setConfig({ testTimeout: 20_000 })

let tools: FakeTools
beforeEach(() => {
  tools = fakeTools()
  tools.set('amixer', 'exit 1')
  tools.set('pactl', 'exit 1')
})
afterEach(() => tools.remove())

describe('while it runs, a capture tells apart', () => {
  test.each([
    ['overrun', complain('overrun!!! (at least 12.345 ms long)'), 'samples were lost near 0.5 s: close other programs'],
    ['vanished', complain('arecord: pcm_read:2221: read error: No such device'), `${DEVICE} went away after 0.5 s`],
  ])('%s, at once', async (kind, script, says) => {
    tools.set('arecord', `${RATE_SAID}\n${noiseS(0.5)}\nsleep 0.5\n${script}\nexec sleep 60`)
    const { early, all } = await faultsOf(alsa(), 1)
    expect(early).toEqual({ kind, says, atS: 0.5 })
    expect(all).toEqual([early])
  })

  test('a stream that ends by itself, one that is killed, and one that dries up', async () => {
    tools.set('arecord', `${RATE_SAID}\n${noiseS(0.5)}\nexec sleep 60`)
    const drying = await begun(alsa(), 4)
    tools.set('arecord', `${RATE_SAID}\n${noiseS(0.5)}\nsleep 0.3\nkill -9 $$`)
    const killed = await begun(alsa(), 1)
    tools.set('arecord', `${RATE_SAID}\n${noiseS(0.5)}\nsleep 0.3`)
    const ended = await faultsOf(alsa(), 1)
    expect(ended.early?.says).toBe(
      `the stream ended by itself after 0.5 s from ${DEVICE}: check the card and its cable`,
    )
    expect(ended.all).toEqual([{ kind: 'short', says: ended.early?.says, atS: 0.5 }])
    expect((await killed.told).early?.kind).toBe('vanished')
    const dry = await drying.told
    expect(dry.early?.says).toBe(`no samples came any more after 0.5 s from ${DEVICE}: check the card and its cable`)
    expect(dry.all.map(({ kind }) => kind)).toEqual(['short'])
  })

  test('zeros and nothing else, at its end', async () => {
    tools.set('arecord', `${RATE_SAID}\n${noiseS(2.5, '/dev/zero')}\nexec sleep 60`)
    const { early, all } = await faultsOf(alsa(), 0.5)
    expect(early).toBeNull()
    expect(all).toEqual([
      { kind: 'silent', says: expect.stringMatching(/^nothing but zeros came from hw:CARD=card,DEV=0: /), atS: null },
    ])
  })

  test('samples that come at another rate than was said', async () => {
    tools.set(
      'arecord',
      `${RATE_SAID}
exec ${process.execPath} -e '
const start = performance.now()
let sent = 0
setInterval(() => {
  const due = Math.floor(44.1 * (performance.now() - start))
  process.stdout.write(Buffer.alloc(8 * (due - sent), 1))
  sent = due
}, 20)'`,
    )
    const { early, all } = await faultsOf(alsa(), 6)
    expect(early).toEqual({
      kind: 'rate',
      says: "samples come at 44100 Hz by this computer's clock, not at 48000 Hz: set the device's own rate",
      atS: null,
    })
    expect(all).toEqual([early])
  })

  // The errors of dshow are from memory; those of ALSA as ffmpeg 5.1 gives them.
  test('overruns and a lost card by what ffmpeg writes of them', async () => {
    const cases = [
      ['overrun', '[alsa @ 0x1] ALSA buffer xrun.'],
      [
        'overrun',
        '[dshow @ 0x1] real-time buffer [Line In] [audio input] too full or near too full (101% of size)! frame dropped!',
      ],
      [
        'overrun',
        '[in#0 @ 0x1] Thread message queue blocking; consider raising the thread_queue_size option (current value: 8)',
      ],
      ['vanished', 'audio=Line In: I/O error'],
    ]
    const running = []
    for (const [kind, line] of cases) {
      tools.set('ffmpeg', `${opened('48000 Hz, stereo')}\n${noiseS(0.5)}\nsleep 0.3\n${complain(line)}\nexec sleep 60`)
      running.push({ kind, line, ...(await begun(ffmpeg(), 1)) })
    }
    for (const { kind, line, told } of running) {
      const { early, all } = await told
      expect([line, early?.kind]).toEqual([line, kind])
      expect([line, all]).toEqual([line, [early]])
    }
  })
})
