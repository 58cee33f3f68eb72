/** Cautions that belong to this work, for the report and for the moment before sound is played. */

export const CAUTIONS = [
  'Airbags and other restraint systems: their plugs are commonly yellow. Leave them alone, and never put a meter on them.',
  'Battery: disconnect or fuse supply leads at the battery before you work on them; a short can burn.',
  'Hearing: full-level tones were played. Keep amplifier gains down or amplifiers unplugged, and nobody at the speakers.',
  'Tweeters: a full-level tone or sweep with lows in it destroys a tweeter that has no crossover in front of it.',
  'Engine: run it outdoors or with exhaust extraction only; carbon monoxide kills without a warning.',
  'Driving: nobody watches this screen while the vehicle moves.',
  "The vehicle maker's service information, local codes and licensed practice go before anything that is said here.",
] as const

/** Where a person makes the vehicle's warnings sound. */
export const BEFORE_CHIMES =
  'The vehicle stands, parking brake on, in park or neutral. An assistant moves something in front of the distance sensors; nobody drives for this.'

/** Before an engine is started. */
export const BEFORE_ENGINE =
  'Carbon monoxide kills without a warning: run the engine outdoors, or with exhaust extraction that works. Parking brake on, gearbox in park or neutral, hands and leads clear of belts and fans.'

/** Said once before a live run plays anything. */
export const BEFORE_SOUND =
  'Amplifier gains down or amplifiers unplugged, nobody near a speaker: full-level tones follow a quiet probe.'
