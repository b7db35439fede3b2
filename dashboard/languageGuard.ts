/*
 * Some Chromium builds report a language that is none (`en-US@posix`), at which `Intl` throws and uPlot fails to load.
 * Imported before anything else.
 */
/** Missing outside a browser, where words are tested. */
const browser = (globalThis as { navigator?: { language: string } }).navigator
const plainLanguage = 'en-US'

try {
  new Intl.NumberFormat(browser?.language)
} catch {
  if (browser) Object.defineProperty(browser, 'language', { value: plainLanguage, configurable: true })
}
export const language: string = browser?.language ?? plainLanguage
