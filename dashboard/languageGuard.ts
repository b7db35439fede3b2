/*
 * Some Chromium builds report a language that is none (`en-US@posix`), at which `Intl` throws and uPlot fails to load.
 * Imported before anything else.
 */
try {
  new Intl.NumberFormat(navigator.language)
} catch {
  Object.defineProperty(navigator, 'language', { value: 'en-US', configurable: true })
}
export const language: string = navigator.language
