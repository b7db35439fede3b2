import { spawnSync } from 'node:child_process'
import { existsSync, mkdirSync } from 'node:fs'
import { type Browser, type BrowserContextOptions, chromium, type Page } from 'playwright'
import { expect, type TestContext } from 'vitest'
import { chromiumArgs, findChromium } from '../support/chromium.ts'
import { noteCheck, type ScreenCheck } from '../support/screenChecks.ts'
import { webRoot } from './staticServer.ts'

const root = new URL('../../', import.meta.url).pathname
const shots = new URL('./shots/', import.meta.url).pathname

/** Sizes on which the drive page must fit without scrolling. */
export const driveSizes = [
  [1280, 800],
  [1180, 820],
  [1080, 810],
  [960, 600],
  [800, 1280],
] as const

/** Makes the served page if nobody has built it yet. */
export function ensureBuilt(): void {
  if (existsSync(`${webRoot}index.html`)) return
  const built = spawnSync('npx', ['vite', 'build', '--config', 'dashboard/vite.config.ts'], {
    cwd: root,
    encoding: 'utf8',
    shell: process.platform === 'win32',
  })
  if (built.status !== 0) throw new Error(`the dashboard does not build: ${built.stderr}`)
}

export async function launch(extraArgs: readonly string[] = []): Promise<Browser> {
  ensureBuilt()
  return await chromium.launch({
    executablePath: await findChromium(),
    args: [...chromiumArgs, ...extraArgs],
  })
}

export interface OpenOptions extends BrowserContextOptions {
  width?: number
  height?: number
  settings?: Record<string, unknown>
}

export interface OpenedPage {
  page: Page
  complaints: string[]
  close: () => Promise<void>
}

/** A page of its own context, with what it complained about. */
export async function openPage(
  browser: Browser,
  url: string,
  { width = 1280, height = 800, settings, ...context }: OpenOptions = {},
): Promise<OpenedPage> {
  const made = await browser.newContext({ viewport: { width, height }, ...context })
  // The bench runs through a compiler that names inner functions by a helper, which a page does not have.
  await made.addInitScript({ content: 'globalThis.__name ??= (named) => named' })
  // What the content policy stopped is an error, also where the code that tried went on without.
  await made.addInitScript(() => {
    addEventListener('securitypolicyviolation', ({ violatedDirective, blockedURI }) =>
      console.error(`content policy: ${violatedDirective} stopped ${blockedURI}`),
    )
  })
  if (settings) {
    await made.addInitScript((values) => {
      if (!localStorage.getItem('floatbowl.settings'))
        localStorage.setItem('floatbowl.settings', JSON.stringify(values))
    }, settings)
  }
  const page = await made.newPage()
  const complaints: string[] = []
  page.on('console', (message) => {
    if (message.type() === 'error') complaints.push(message.text())
  })
  page.on('pageerror', (error) => complaints.push(error.message))
  await page.goto(url)
  await page.evaluate(() => document.fonts.ready)
  return { page, complaints, close: () => made.close() }
}

/** Changes settings of an open page as another tab would. */
export async function changeSettings(page: Page, change: Record<string, unknown>): Promise<void> {
  await page.evaluate((values) => {
    const key = 'floatbowl.settings'
    const kept = JSON.parse(localStorage.getItem(key) ?? '{}') as Record<string, unknown>
    localStorage.setItem(key, JSON.stringify({ ...kept, ...values }))
    dispatchEvent(new StorageEvent('storage', { key }))
  }, change)
}

/** Changes the colours of an open page, and waits until they are drawn. */
export async function setTheme(page: Page, theme: 'day' | 'dark' | 'night'): Promise<void> {
  await changeSettings(page, { theme })
  await page.waitForFunction((wanted) => document.documentElement.dataset.theme === wanted, theme)
  await twoFrames(page)
}

/** Resolves when what was changed has been laid out and drawn. */
export async function twoFrames(page: Page): Promise<void> {
  await page.evaluate(
    () => new Promise<void>((resolve) => requestAnimationFrame(() => requestAnimationFrame(() => resolve()))),
  )
}

/** Address of the drive page showing one fixed reading. */
export function pictureUrl(base: string, reading: Record<string, unknown> = {}, more = ''): string {
  return `${base}/?reading=${encodeURIComponent(JSON.stringify(reading))}${more}`
}

export async function shoot(page: Page, name: string): Promise<Buffer> {
  mkdirSync(shots, { recursive: true })
  return await page.screenshot({ path: `${shots}${name}.png` })
}

/** Waits until a condition holds; returns how long that took, ms. Throws with the last value after `limitMs`. */
export async function until(
  what: string,
  holds: () => boolean | Promise<boolean>,
  limitMs = 10_000,
  stepMs = 20,
): Promise<number> {
  const begun = performance.now()
  for (;;) {
    if (await holds()) return performance.now() - begun
    const passed = performance.now() - begun
    if (passed > limitMs) throw new Error(`${what}: not within ${limitMs} ms`)
    await new Promise((resolve) => setTimeout(resolve, stepMs))
  }
}

/** Text of a part as it is now; empty when it is not there. */
export function partText(page: Page, part: string): Promise<string> {
  return page.evaluate(
    (name) => document.querySelector(`[data-part="${name}"]`)?.textContent?.trim() ?? '',
    part,
  )
}

/**
 * Notes a measured value for the table at the end of the run, and asserts the claim; a test goes on after a miss, so that all of them show.
 * @param context a test that runs beside others gives its own
 */
export function check(id: ScreenCheck, measured: string, isMet: boolean, context?: TestContext): void {
  noteCheck(id, measured, isMet, context?.task)
  const { soft } = context?.expect ?? expect
  soft(isMet, `${id}: ${measured}`).toBe(true)
}
