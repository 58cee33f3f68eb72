/** The scale of a head unit's volume: what it may read at most. */
export const VOLUME_MAX = 100
