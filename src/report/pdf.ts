/**
 * A result as PDF: the page's own markup and drawings, as vectors and searchable text, with the fonts inside (PDF/A-2b).
 *
 * It is not tagged: the library that writes it marks no structure, so for screen readers there is the page.
 */
import { readFileSync } from 'node:fs'
import { createRequire } from 'node:module'
import pdfmake from 'pdfmake'
import type { Content, TDocumentDefinitions } from 'pdfmake/interfaces.js'
import type { Result } from '../verdict/result.js'
import type { Before } from './before-after.js'
import { SIMULATED_WORDS } from './format.js'
import { codePointsOf, drawable } from './glyphs.js'
import { markupTree } from './markup-tree.js'
import { type Audience, type Paper, paperFor } from './paper.js'
import { contentOf, FONT, FONT_SIZE } from './pdf-content.js'
import { COLOURS } from './pdf-text.js'
import type { PageSize } from './style.js'

export interface PdfOptions {
  readonly audience?: Audience
  /** The run that this one is held against. */
  readonly before?: Before | null
  readonly pageSize?: PageSize
}

/** Points. */
const PAGES = { a4: { name: 'A4', width: 595.28 }, letter: { name: 'LETTER', width: 612 } } as const
const [SIDE, TOP, BOTTOM] = [34, 30, 36]

export function pdfReport(
  result: Result,
  { audience = 'shop', before = null, pageSize = 'a4' }: PdfOptions = {},
): Promise<Buffer> {
  return pdfOf(paperFor(audience, result, before, pageSize), pageSize, new Date(result.startedAt))
}

function pdfOf({ title, body, program, isSimulated }: Paper, pageSize: PageSize, at: Date): Promise<Buffer> {
  const fonts = fontFiles()
  const known = codePointsOf(readFileSync(fonts.normal))
  const words = (text: string): string => drawable(text, known)
  const { name, width } = PAGES[pageSize]
  const banner: Content[] = isSimulated
    ? contentOf(
        [{ tag: 'p', attributes: { class: 'simulated' }, children: [SIMULATED_WORDS], source: '' }],
        width - 2 * SIDE,
      )
    : []
  const definition: TDocumentDefinitions = {
    pageSize: name,
    pageMargins: [SIDE, TOP, SIDE, BOTTOM],
    version: '1.7',
    subset: 'PDF/A-2b',
    language: 'en',
    displayTitle: true,
    info: {
      title: words(title),
      creator: words(program),
      producer: words(program),
      ...(Number.isNaN(at.getTime()) ? {} : { creationDate: at }),
    },
    defaultStyle: { font: FONT, fontSize: FONT_SIZE, color: COLOURS.ink, lineHeight: 1.05 },
    footer: (page, count) => ({
      columns: [
        { text: isSimulated ? SIMULATED_WORDS : words(title), bold: isSimulated, width: '*', noWrap: true },
        { text: `${page} / ${count}`, alignment: 'right', width: 50 },
      ],
      fontSize: 7,
      margin: [SIDE, 12, SIDE, 0],
    }),
    content: [...banner, ...contentOf(markupTree(words(body.text)), width - 2 * SIDE)],
  }
  pdfmake.setFonts({ [FONT]: fonts })
  // Nothing is fetched, and no file is read but the two fonts, whatever a text in the result looks like.
  pdfmake.setUrlAccessPolicy(() => false)
  pdfmake.setLocalAccessPolicy((path) => Object.values(fonts).includes(path))
  return pdfmake.createPdf(definition).getBuffer() as Promise<Buffer>
}

const fontFiles = () => {
  const at = (name: string): string =>
    createRequire(import.meta.url).resolve(`dejavu-fonts-ttf/ttf/DejaVuSansCondensed${name}.ttf`)
  return { normal: at(''), bold: at('-Bold') }
}
