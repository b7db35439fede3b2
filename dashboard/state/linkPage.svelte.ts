import { unescapeBytes } from '../../core/capture/escape.ts'
import type { PortReport, RawLine, SavedLineMap } from '../../core/contract/api.ts'
import type { LineMap } from '../../core/line/lineMap.ts'
import { ApiError, api } from './runsApi.ts'

/** Lines kept on the page. */
const mostLines = 200
/** New lines are asked for this often, ms. */
const pollMs = 500

/** What the bridge's wires say: raw lines as they come, ports, saved line maps. */
export class LinkPage {
  #lines = $state.raw<readonly RawLine[]>([])
  #source = $state.raw(0)
  #isHeld = $state.raw(false)
  #ports = $state.raw<readonly PortReport[] | undefined>(undefined)
  #isListening = $state.raw(false)
  #maps = $state.raw<readonly SavedLineMap[]>([])
  #problem = $state.raw('')

  get lines(): readonly RawLine[] {
    return this.#lines
  }
  /** The lines as the board sent them, for a map. */
  get texts(): string[] {
    return this.#lines.map(({ text }) => new TextDecoder().decode(unescapeBytes(text)))
  }
  get source(): number {
    return this.#source
  }
  get isHeld(): boolean {
    return this.#isHeld
  }
  get ports(): readonly PortReport[] | undefined {
    return this.#ports
  }
  get isListening(): boolean {
    return this.#isListening
  }
  get maps(): readonly SavedLineMap[] {
    return this.#maps
  }
  get problem(): string {
    return this.#problem
  }

  choose(source: number): void {
    this.#source = source
    this.#lines = []
  }
  hold(isHeld: boolean): void {
    this.#isHeld = isHeld
  }

  /** Asks for new lines until the returned call. */
  follow(): () => void {
    let isOver = false
    let timer = 0
    const ask = async () => {
      if (!this.#isHeld && document.visibilityState === 'visible') await this.#more()
      if (!isOver) timer = window.setTimeout(() => void ask(), pollMs)
    }
    void ask()
    void this.loadMaps()
    return () => {
      isOver = true
      clearTimeout(timer)
    }
  }

  async #more(): Promise<void> {
    const source = this.#source
    const after = this.#lines.at(-1)?.number ?? 0
    try {
      const more = await api<RawLine[]>('GET', `/api/lines?source=${source}&after=${after}`)
      if (source !== this.#source || more.length === 0) return
      // A bridge that was started anew counts from one again.
      const kept = more[0].number < after ? [] : this.#lines
      this.#lines = [...kept, ...more].slice(-mostLines)
    } catch (error) {
      // The link's own band says that the bridge is away; anything else is worth a word.
      if (error instanceof ApiError && error.status > 0) this.#problem = error.message
    }
  }

  async findPorts(listen: boolean): Promise<void> {
    this.#isListening = true
    this.#problem = ''
    try {
      this.#ports = await api<PortReport[]>('POST', '/api/ports', { listen })
    } catch (error) {
      this.#problem = (error as Error).message
    } finally {
      this.#isListening = false
    }
  }

  async loadMaps(): Promise<void> {
    try {
      this.#maps = await api<SavedLineMap[]>('GET', '/api/maps')
    } catch {
      // A page that cannot list the saved maps can still make one.
    }
  }

  /** @returns the kept map; throws what the bridge said */
  async saveMap(name: string, map: LineMap): Promise<SavedLineMap> {
    const kept = await api<SavedLineMap>('PUT', `/api/maps/${encodeURIComponent(name)}`, map)
    await this.loadMaps()
    return kept
  }

  /** Reads the chosen source's lines with a saved map from now on, or, with null, as our own format. @throws what the bridge said */
  async useMap(name: string | null): Promise<void> {
    await api('PUT', `/api/sources/${this.#source}/map`, { name })
  }
}
