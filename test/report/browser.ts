/**
 * The report in a real browser: Debian's Chromium without a window, on a fresh profile of its own.
 *
 * A page is opened from a file, as from a USB stick, and everything that it says or asks for is kept.
 */
import { mkdtemp, rm, writeFile } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { pathToFileURL } from 'node:url'
import { type Browser, chromium, type Page } from 'playwright-core'

export interface Opened {
  readonly page: Page
  /** Address of the file itself. */
  readonly url: string
  /** Whatever the console or an error said. */
  readonly said: string[]
  /** Addresses that were asked for, the file itself among them. */
  readonly requested: string[]
}

export class ReportBrowser {
  private browser: Browser | null = null
  private folder: string | null = null
  private readonly opened = new Map<string, Opened>()

  /** Loads a page the first time that its name is asked for: the browser is slow, and no test changes what it shows. */
  async open(name: string, html: string): Promise<Opened> {
    const known = this.opened.get(name)
    if (known) return known
    this.browser ??= await chromium.launch({
      executablePath: '/usr/bin/chromium',
      args: ['--no-sandbox', '--disable-gpu', '--disable-background-networking'],
    })
    this.folder ??= await mkdtemp(join(tmpdir(), 'linetrue-report-'))
    const path = join(this.folder, `${this.opened.size}.html`)
    await writeFile(path, html)
    const page = await this.browser.newPage({ viewport: { width: 1280, height: 900 } })
    const [said, requested]: [string[], string[]] = [[], []]
    page.on('console', (message) => said.push(`${message.type()}: ${message.text()}`))
    page.on('pageerror', (error) => said.push(`error: ${error.message}`))
    page.on('request', (request) => requested.push(request.url()))
    const url = pathToFileURL(path).href
    await page.goto(url, { waitUntil: 'load' })
    const one = { page, url, said, requested }
    this.opened.set(name, one)
    return one
  }

  async close(): Promise<void> {
    await this.browser?.close()
    if (this.folder) await rm(this.folder, { recursive: true, force: true })
  }
}
