import { createSubscriber } from 'svelte/reactivity'

/** Decides whether the person may go from one page to another; false keeps them where they are. */
export type RouteGuard = (from: string, to: string) => boolean

/**
 * Pages by address fragment (`#/runs/marigold/2025-06-01?x=1`): works from any host, without a server that knows the pages.
 */
export class Router {
  guard: RouteGuard = () => true
  #hash = $state.raw('')
  #browser: Window
  #subscribe: () => void

  constructor(browser: Window = window) {
    this.#browser = browser
    this.#hash = browser.location.hash
    this.#subscribe = createSubscriber(() => {
      const changed = () => this.#arrived()
      browser.addEventListener('hashchange', changed)
      return () => browser.removeEventListener('hashchange', changed)
    })
  }

  /** Fragment without `#/` and without its query, e.g. `runs/marigold/day/file`. */
  get path(): string {
    this.#subscribe()
    return pathOf(this.#hash)
  }

  /** First part of the path: the page. */
  get page(): string {
    return this.path.split('/')[0]
  }

  /** What follows the page's name, decoded. */
  get rest(): string[] {
    return this.path
      .split('/')
      .slice(1)
      .map((part) => decodeURIComponent(part))
  }

  /** Options of the address: those after the fragment win over those before it. */
  option(name: string): string | null {
    this.#subscribe()
    const query = this.#hash.indexOf('?')
    const own = query < 0 ? null : new URLSearchParams(this.#hash.slice(query)).get(name)
    return own ?? new URLSearchParams(this.#browser.location.search).get(name)
  }

  go(path: string): void {
    if (this.guard(this.page, pathOf(`#/${path}`).split('/')[0])) this.#browser.location.hash = `#/${path}`
  }

  /** Goes without asking: for the answer to the guard's own question. */
  force(path: string): void {
    const guard = this.guard
    this.guard = () => true
    this.#browser.location.hash = `#/${path}`
    this.#arrived()
    this.guard = guard
  }

  #arrived(): void {
    const next = this.#browser.location.hash
    if (next === this.#hash) return
    const page = pathOf(next).split('/')[0]
    if (this.guard(pathOf(this.#hash).split('/')[0], page)) this.#hash = next
    // The back button or a typed address went past `go`: put the old address back.
    else this.#browser.history.replaceState(null, '', this.#hash || '#/')
  }
}

function pathOf(hash: string): string {
  return hash.replace(/^#\/?/, '').split('?')[0]
}
