/** What each kind of finding means to the owner of the vehicle, and what the shop does about it, without a word of the trade. */

import type { StageName } from '../job/job.js'
import type { Finding } from '../verdict/parts.js'

interface PlainWords {
  readonly found: string
  readonly done: string
}

const TRACED = 'The wiring of this channel is traced and put right.'
const REPEATED = 'The check is made again with this put right.'
const GROUNDS = 'The ground and supply connections are checked and put right.'
const TUNED = 'It is taken out when the new amplifiers are set up.'

export const CUSTOMER_WORDS: Readonly<Record<Finding['kind'], PlainWords>> = {
  dead: { found: 'No sound arrives', done: TRACED },
  weak: { found: 'Too quiet', done: 'The cause is looked for, and the loudness is put right.' },
  strong: { found: 'Too loud', done: 'The cause is looked for, and the loudness is put right.' },
  volume: { found: 'The volume was not where the check needs it', done: REPEATED },
  swapped: { found: 'Two channels are exchanged', done: 'The wires are put in their right places.' },
  alike: {
    found: 'These channels carry the same and could not be told apart',
    done: 'Each is checked by ear at its loudspeaker.',
  },
  inverted: {
    found: 'Wired the wrong way round, which makes the sound thin',
    done: 'Its two wires are exchanged.',
  },
  summed: {
    found: 'Left and right are mixed together',
    done: 'Wiring and settings are put right, so that left and right are apart again.',
  },
  'band-split': { found: 'Only a part of the tones arrives', done: 'The settings are matched to it.' },
  equalised: { found: "The factory's own sound shaping is still in it", done: TUNED },
  noisy: {
    found: 'Hisses or whistles more than it should',
    done: 'The source of the noise is looked for and removed.',
  },
  humming: { found: 'Hums', done: GROUNDS },
  distorted: { found: 'Sounds rough', done: 'The cause is looked for, and the strength of the signal is put right.' },
  leaking: { found: 'The other side can be heard in it', done: TRACED },
  late: { found: 'Arrives later than the others', done: 'The times are matched when the new amplifiers are set up.' },
  unbalanced: { found: 'Left and right are not equally loud', done: 'They are matched.' },
  muting: { found: 'Switches itself off in quiet passages', done: 'The settings are changed, so that it stays on.' },
  'clipped capture': { found: 'The signal was too strong for the measuring equipment', done: REPEATED },
  'tone control': { found: 'Bass, treble or a sound effect was not at its middle setting', done: REPEATED },
  loudness: { found: 'The sound changes with the volume', done: 'The settings take this into account.' },
  whining: { found: 'Whines while the engine runs', done: GROUNDS },
  interrupted: { found: 'The sound breaks off for short moments', done: 'The connections are checked and put right.' },
  limited: {
    found: 'Gets no louder above a certain volume',
    done: 'The amplifiers are set for the highest volume that is clean.',
  },
  'time-variant': {
    found: 'The sound changes by itself while it plays',
    done: 'Automatic sound effects are switched off, and the check is made again.',
  },
  'lossy source': {
    found: 'The test sound lost quality on its way into the radio',
    done: 'The check is made again from a better source.',
  },
  sum: {
    found: 'High and low notes of one loudspeaker place do not fit together',
    done: 'They are matched when the new amplifiers are set up.',
  },
  rig: {
    found: 'The measuring equipment needs a second look',
    done: 'It is checked, and measured again where needed.',
  },
  pin: {
    found: 'A contact of the plug is not as it should be',
    done: 'It is put right before anything is plugged in.',
  },
  'not flat': { found: 'The sound is still coloured', done: TUNED },
  gain: { found: 'The amplifiers are not yet set to the right strength', done: 'They are set and checked again.' },
  chime: {
    found: 'A warning sound is missing, too quiet, or comes from the wrong place',
    done: 'It is put right before the vehicle is handed over.',
  },
  engine: { found: 'Something is different while the engine runs', done: GROUNDS },
  standby: {
    found: 'The parked vehicle takes more from its battery than it should',
    done: 'The cause is looked for and removed, so that the battery does not run down.',
  },
}

export const CHECKED_WORDS: Readonly<Record<StageName, string>> = {
  pins: 'whether every contact of the plug is connected as it should be',
  outputs:
    'whether each channel plays what it should, as loud as it should, the right way round, at the right time, clean and quiet',
  flat: "whether the factory's own sound shaping is gone",
  gains: 'whether the amplifiers are set to the right strength',
  chimes: 'whether warning sounds are still heard from the right place',
  engine: 'whether it stays quiet while the engine runs',
  standby: 'whether the parked vehicle spares its battery',
}
