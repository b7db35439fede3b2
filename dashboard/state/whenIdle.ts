/** The longest that is waited for a quiet moment, ms; where the browser does not tell of one, so long is waited. Chosen here. */
const longestMs = 2000

/** Calls back once, when the page has been loaded and has a moment to spare. */
export function whenIdle(call: () => void, browser: Window = window): void {
  const wait = () => {
    if ('requestIdleCallback' in browser) browser.requestIdleCallback(call, { timeout: longestMs })
    else setTimeout(call, longestMs)
  }
  if (browser.document.readyState === 'complete') wait()
  else browser.addEventListener('load', wait, { once: true })
}
