import type { Browser } from 'playwright'
import { afterAll, beforeAll } from 'vitest'
import { type BridgeFixture, type BridgeOptions, startBridge } from './bridgeFixture.ts'
import { launch, type OpenedPage, type OpenOptions, openPage } from './support.ts'

/** A browser and a bridge that stand from before the tests of a file until after them. */
export interface ServedPages {
  readonly browser: Browser
  readonly bridge: BridgeFixture
  /** Opens a page of the dashboard, as `#/runs`. */
  open(route: string, options?: OpenOptions): Promise<OpenedPage>
}

/** Starts both before the tests; to be called at the top of a file, before its own `beforeAll`. */
export function servePages(options: BridgeOptions = {}): ServedPages {
  let browser: Browser
  let bridge: BridgeFixture
  beforeAll(async () => {
    browser = await launch()
    bridge = await startBridge(options)
  })
  afterAll(async () => {
    await browser.close()
    await bridge.close()
  })
  return {
    get browser() {
      return browser
    },
    get bridge() {
      return bridge
    },
    open: (route, more) => openPage(browser, `${bridge.url}/${route}`, more),
  }
}
