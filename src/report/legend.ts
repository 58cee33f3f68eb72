/** What lines, fills and marks of the charts mean: a small drawing and a word for each. */
import { type Markup, markup } from './markup.js'

const SWATCHES = {
  curve: markup`<path class="curve" d="M1 7H25"/>`,
  dashed: markup`<path class="curve dashed" d="M1 7H25"/>`,
  room: markup`<rect class="room" x="1" y="1" width="24" height="12"/><path class="limit" d="M1 1H25M1 13H25"/>`,
  outside: markup`<path class="outside" d="M1 7H25"/>`,
  reference: markup`<path class="reference" d="M13 2l5 5l-5 5l-5 -5z"/>`,
  band: markup`<path class="band" d="M1 13V6H13V9H25V13z"/><path class="bandtop" d="M1 6H13M13 9H25"/>`,
  needle: markup`<path class="needle" d="M13 13V2"/>`,
  dot: markup`<path class="curve" d="M1 7H25"/><path class="dot" d="M13 7h0"/>`,
  atmost: markup`<path class="curve" d="M1 7H25"/><path class="atmost" d="M13 10l-3 -5h6z"/>`,
  sure: markup`<path class="sure" d="M1 2H25V12H1z"/><path class="curve" d="M1 7H25"/>`,
}

export const swatch = (of: keyof typeof SWATCHES, says: string): Markup =>
  markup`<span class="swatch"><svg viewBox="0 0 26 14" aria-hidden="true">${SWATCHES[of]}</svg> ${says}.</span>`
