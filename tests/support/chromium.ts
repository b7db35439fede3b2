import { existsSync } from 'node:fs'

const usualPlaces = [
  '/usr/bin/chromium',
  '/usr/bin/chromium-browser',
  '/usr/bin/google-chrome',
  '/Applications/Google Chrome.app/Contents/MacOS/Google Chrome',
  'C:\\Program Files\\Google\\Chrome\\Application\\chrome.exe',
]

/** Start flags under which headless Chromium runs as root, offline and with sound contexts that start after a tap. */
export const chromiumArgs = [
  '--no-sandbox',
  '--disable-gpu',
  '--disable-quic',
  '--no-first-run',
  '--disable-background-networking',
  '--disable-component-update',
  '--disable-sync',
]

/** Path of a Chromium: the one named by `CHROMIUM_PATH`, an installed one, or the one inside an npm package (Linux x64). */
export async function findChromium(): Promise<string> {
  const named = process.env.CHROMIUM_PATH
  if (named) return named
  const installed = usualPlaces.find((path) => existsSync(path))
  if (installed) return installed
  // Makes the package unpack its own NSS libraries as well.
  process.env.AWS_LAMBDA_JS_RUNTIME ??= 'nodejs20.x'
  const packed = await import('@sparticuz/chromium')
  return await packed.default.executablePath()
}
