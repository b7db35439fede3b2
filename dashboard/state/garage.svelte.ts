import type { Status, Swap, Tank } from '../../core/contract/api.ts'
import type { Air, Box, CarProfile, Fitted, Part } from '../../core/contract/car.ts'
import type { App } from './app.ts'
import { ApiError, api, type CarParts } from './runsApi.ts'

export type GarageState = 'loading' | 'ready' | 'error' | 'offline'

/** An act that can be taken back for ten seconds. */
export interface Undo {
  text: string
  untilMs: number
  undo: () => Promise<void>
}

/** How long an act can be taken back, ms. */
export const undoMs = 10_000

/** What is noted of a swap besides the part, all optional. */
export type SwapNotes = Pick<Swap, 'reason' | 'cost' | 'minutes'>

/** Answer to what a page wants to keep: undefined when all went well. */
export interface Failure {
  text: string
  code: string
}

/** The car in use as the bridge keeps it: profile, parts, log of changes, tanks. A page makes its own and loads it. */
export class Garage {
  readonly #app: App
  #state = $state.raw<GarageState>('loading')
  #problem = $state.raw<Failure>({ text: '', code: '' })
  #failure = $state.raw<Failure | undefined>(undefined)
  #status = $state.raw<Status | undefined>(undefined)
  #cars = $state.raw<readonly CarProfile[]>([])
  #parts = $state.raw<CarParts>({ fitted: {}, box: {} })
  #swaps = $state.raw<readonly Swap[]>([])
  #tanks = $state.raw<readonly Tank[]>([])
  #undo = $state.raw<Undo | undefined>(undefined)
  #offered: Omit<Undo, 'untilMs'> | undefined
  #isBusy = $state.raw(false)

  constructor(app: App) {
    this.#app = app
  }

  get state(): GarageState {
    return this.#state
  }
  /** Why nothing could be loaded. */
  get problem(): Failure {
    return this.#problem
  }
  /** Why the last act failed. */
  get failure(): Failure | undefined {
    return this.#failure
  }
  get status(): Status | undefined {
    return this.#status
  }
  get cars(): readonly CarProfile[] {
    return this.#cars
  }
  get carId(): string {
    return this.#status?.car ?? ''
  }
  get car(): CarProfile {
    return this.#cars.find((car) => car.id === this.carId) ?? { id: this.carId || 'my-car' }
  }
  get fitted(): Fitted {
    return this.#parts.fitted
  }
  get box(): Box {
    return this.#parts.box
  }
  /** Oldest first. */
  get swaps(): readonly Swap[] {
    return this.#swaps
  }
  get tanks(): readonly Tank[] {
    return this.#tanks
  }
  get isBusy(): boolean {
    return this.#isBusy
  }
  get mayChange(): boolean {
    return this.#status?.role !== 'viewer'
  }
  /** The act that can still be taken back, with the whole seconds left. */
  get undoable(): { text: string; seconds: number } | undefined {
    const undo = this.#undo
    if (!undo) return undefined
    const seconds = Math.ceil((undo.untilMs - this.#app.clock.nowMs) / 1000)
    return seconds > 0 ? { text: undo.text, seconds } : undefined
  }

  /** Loads everything; what was loaded before stays when the bridge is away. */
  async load(): Promise<void> {
    try {
      const [status, cars] = await Promise.all([
        api<Status>('GET', '/api/status'),
        api<CarProfile[]>('GET', '/api/cars'),
      ])
      const path = pathOf(status.car)
      const [parts, swaps, tanks] = await Promise.all([
        api<CarParts>('GET', `${path}/parts`),
        api<Swap[]>('GET', `${path}/swaps`),
        api<Tank[]>('GET', `${path}/tanks`),
      ])
      this.#status = status
      this.#cars = cars
      this.#parts = parts
      this.#swaps = byTime(swaps)
      this.#tanks = byTime(tanks)
      this.#state = 'ready'
    } catch (error) {
      const { status, code, message } = asApiError(error)
      this.#problem = { text: message, code }
      const isAway = status === 0 && this.#status !== undefined
      this.#state = isAway ? 'offline' : 'error'
    }
  }

  /** Fits a part and logs it; can be taken back. @returns the log's entry, undefined when it failed */
  async swap(part: string, to: Part, text: string, notes: SwapNotes = {}): Promise<Swap | undefined> {
    return await this.#act(async () => {
      const swap = await api<Swap>('POST', `${this.#path}/swaps`, { part, to: plain(to), ...notes })
      this.#offer(text, () => this.#strike([swap]))
      return swap
    })
  }

  /** Brings a former set back: one entry in the log for each part that differs. */
  async goBack(target: Fitted, reason: string, text: string): Promise<void> {
    await this.#act(async () => {
      const before = this.#parts
      const made: Swap[] = []
      for (const [part, to] of Object.entries(target)) {
        if (JSON.stringify(before.fitted[part]) === JSON.stringify(to)) continue
        made.push(await api<Swap>('POST', `${this.#path}/swaps`, { part, to: plain(to), reason }))
      }
      const isLeft = Object.keys(before.fitted).some((part) => !(part in target))
      if (isLeft) await this.#put({ fitted: target, box: before.box })
      this.#offer(text, async () => {
        await this.#strike(made.reverse())
        if (isLeft) await this.#put(before)
      })
    })
  }

  async noteSwap(id: string, notes: SwapNotes): Promise<void> {
    await this.#act(() => api('PATCH', `${this.#path}/swaps/${id}`, notes))
  }

  /** Replaces box and fitted parts; can be taken back when a text says what was done. */
  async saveParts(parts: CarParts, text?: string): Promise<void> {
    await this.#act(async () => {
      const before = this.#parts
      await this.#put(parts)
      if (text) this.#offer(text, () => this.#put(before))
    })
  }

  async addTank(tank: Omit<Tank, 'id'>, text: string): Promise<boolean> {
    const added = await this.#act(async () => {
      const kept = await api<Tank>('POST', `${this.#path}/tanks`, tank)
      this.#offer(text, () => api('DELETE', `${this.#path}/tanks/${kept.id}`))
      return kept
    })
    return added !== undefined
  }

  async removeTank({ id, ...tank }: Tank, text: string): Promise<void> {
    await this.#act(async () => {
      await api('DELETE', `${this.#path}/tanks/${id}`)
      this.#offer(text, async () => {
        await api('POST', `${this.#path}/tanks`, tank)
      })
    })
  }

  /** @returns true when the bridge kept it */
  async saveCar(car: CarProfile): Promise<boolean> {
    const kept = await this.#act(async () => {
      const saved = await api<CarProfile>('PUT', pathOf(car.id), plain(car))
      if (car.id === this.carId) this.#app.link.setCar(saved)
      return saved
    })
    return kept !== undefined
  }

  async useCar(id: string): Promise<void> {
    await this.#act(() => api('POST', '/api/car', { car: id }))
  }

  async saveAir(air: Air): Promise<boolean> {
    return (await this.#act(() => api<Air>('POST', '/api/air', plain(air)))) !== undefined
  }

  async takeBack(): Promise<void> {
    const undo = this.#undo
    this.#undo = undefined
    if (undo) await this.#act(undo.undo)
  }

  get #path(): string {
    return pathOf(this.carId)
  }

  /** Undo is offered when the page shows what was done: a tap on it before would find the act still going on. */
  #offer(text: string, undo: () => Promise<void>): void {
    this.#offered = { text, undo }
  }

  #showOffer(): void {
    if (this.#offered) this.#undo = { ...this.#offered, untilMs: performance.now() + undoMs }
  }

  async #put(parts: CarParts): Promise<void> {
    await api('PUT', `${this.#path}/parts`, plain(parts))
  }

  /** Newest first, so that each puts back what was there before it. */
  async #strike(swaps: readonly Swap[]): Promise<void> {
    for (const { id } of swaps) await api('DELETE', `${this.#path}/swaps/${id}`)
  }

  /** Does something at the bridge, then shows what it keeps now. One at a time: a second tap meanwhile does nothing. */
  async #act<T>(act: () => Promise<T>): Promise<T | undefined> {
    if (this.#isBusy) return undefined
    this.#isBusy = true
    this.#failure = undefined
    this.#offered = undefined
    try {
      const answer = await act()
      await this.load()
      this.#showOffer()
      return answer
    } catch (error) {
      const { code, message } = asApiError(error)
      this.#failure = { text: message, code }
      return undefined
    } finally {
      this.#isBusy = false
    }
  }
}

const pathOf = (car: string) => `/api/cars/${encodeURIComponent(car)}`

/** Without the proxies of a form's state. */
const plain = <T>(value: T): T => JSON.parse(JSON.stringify(value)) as T

function asApiError(error: unknown): ApiError {
  return error instanceof ApiError
    ? error
    : new ApiError(-1, 'failed', error instanceof Error ? error.message : String(error))
}

const byTime = <T extends { at: string }>(entries: readonly T[]): T[] =>
  [...entries].sort((a, b) => Date.parse(a.at) - Date.parse(b.at))
