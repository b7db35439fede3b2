import type { AdviceResult } from '../../core/contract/advice.ts'
import type { Swap } from '../../core/contract/api.ts'
import type { CarProfile, Fitted, Part } from '../../core/contract/car.ts'
import { asNoted } from '../../core/tuning/flowFigures.ts'
import type { Runs } from './runs.svelte.ts'
import { ApiError, api, type CarParts, fetchCars, fetchParts } from './runsApi.ts'

/** How often it is asked how far the work is, ms. */
const progressMs = 500
/** How long a logged swap can be taken back with one tap, ms. */
const undoMs = 10_000

/** Advice for some runs of one car, and the log of the swap that follows from it. */
export class Advice {
  readonly #runs: Runs
  readonly #chosenUnits: () => Readonly<Record<string, string>> | undefined
  #advice = $state.raw<AdviceResult | undefined>(undefined)
  #problem = $state.raw<{ text: string; code: string } | undefined>(undefined)
  #parts = $state.raw<CarParts | undefined>(undefined)
  #car = $state.raw<CarProfile | undefined>(undefined)
  #carId = $state.raw('')
  #keys = $state.raw<readonly string[]>([])
  #swap = $state.raw<Swap | undefined>(undefined)
  #swapProblem = $state.raw('')
  #isUndoable = $state.raw(false)
  #undoTimer = 0
  #asked = 0
  #share = $state.raw<number | undefined>(undefined)

  /** @param chosenUnits the screen's own units; what is not among them follows the car's profile */
  constructor(runs: Runs, chosenUnits: () => Readonly<Record<string, string>> | undefined) {
    this.#runs = runs
    this.#chosenUnits = chosenUnits
  }

  get advice(): AdviceResult | undefined {
    return this.#advice
  }
  /** How much of the work is done, 0 to 1; undefined while nobody knows. */
  get share(): number | undefined {
    return this.#share
  }
  get problem(): { text: string; code: string } | undefined {
    return this.#problem
  }
  get parts(): CarParts | undefined {
    return this.#parts
  }
  get car(): CarProfile | undefined {
    return this.#car
  }
  /** Parts of the drive that the advice rests on. */
  get driven(): Fitted {
    return this.#runs.find(this.#keys[this.#keys.length - 1] ?? '')?.fitted ?? {}
  }
  /** Car whose log a swap goes into; empty when the runs are files without one. */
  get carId(): string {
    return this.#carId
  }
  get keys(): readonly string[] {
    return this.#keys
  }
  /** The swap that was logged from here. */
  get swap(): Swap | undefined {
    return this.#swap
  }
  get isUndoable(): boolean {
    return this.#isUndoable
  }
  get swapProblem(): string {
    return this.#swapProblem
  }

  /**
   * Works the advice out: here when this page has opened all of the runs, or holds them as files; else on the bridge, which has the runs and the box.
   * @param checked hints whose test the owner did without finding anything
   */
  async load(keys: readonly string[], checked: readonly string[] = []): Promise<void> {
    const asked = ++this.#asked
    // What other runs asked for does not stand for these while they are worked out, nor when that fails.
    if (keys.join() !== this.#keys.join()) {
      this.#advice = undefined
      this.#swap = undefined
    }
    this.#keys = keys
    this.#problem = undefined
    const summary = this.#runs.find(keys[keys.length - 1] ?? '')
    this.#carId = summary?.car ?? ''
    try {
      const advice = await this.#advise(keys, checked)
      if (asked === this.#asked) this.#advice = advice
    } catch (error) {
      if (asked !== this.#asked) return
      const text = error instanceof Error ? error.message : String(error)
      this.#problem = { text, code: error instanceof ApiError ? error.code : 'advice' }
    }
  }

  async #advise(keys: readonly string[], checked: readonly string[]): Promise<AdviceResult> {
    const { mixture, bore } = this.#chosenUnits() ?? {}
    const asked = {
      ...(mixture ? { mixture } : {}),
      ...(bore ? { bore } : {}),
      ...(checked.length > 0 ? { checked: [...checked] } : {}),
    }
    const isHere = keys.every((key) => this.#runs.analysed.has(key))
    const local = isHere || keys.some((key) => this.#runs.isDropped(key))
    if (this.#carId) {
      const [parts, cars] = await Promise.all([
        fetchParts(this.#carId).catch(() => undefined),
        fetchCars().catch(() => undefined),
      ])
      this.#parts = parts
      this.#car = cars?.find(({ id }) => id === this.#carId)
      // Without a list of parts the bridge has nothing to advise from: it would refuse.
      const isListed = !parts || Object.keys(parts.fitted).length + Object.keys(parts.box).length > 0
      if (!local && isListed) {
        try {
          return await this.#askBridge({ runs: keys, car: this.#carId, ...asked })
        } catch (error) {
          const canBeDoneHere = error instanceof ApiError && [0, 409, 501].includes(error.status)
          if (!canBeDoneHere) throw error
        }
      }
    }
    for (const key of keys) {
      if (this.#runs.analysed.has(key)) continue
      const source = this.#runs.sourceOf(key)
      if (!source) throw new Error('This page no longer holds the file. Drop it again.')
      await this.#runs.worker.ask({ type: 'open', run: key, source, keeps: false })
      this.#runs.analysed.add(key)
    }
    return await this.#runs.worker.ask({
      type: 'advise',
      runs: [...keys],
      parts: { box: this.#parts?.box ?? {} },
      // A profile that nobody has filled in yet must not hide what the runs know of the car.
      ...(this.#car && (this.#car.metering ?? this.#car.targets ?? this.#car.engine)
        ? { car: this.#car }
        : {}),
      ...asked,
    })
  }

  /** Asks the bridge, and meanwhile how far it is. */
  async #askBridge(body: object): Promise<AdviceResult> {
    const ask = `advice-${Math.random().toString(36).slice(2, 14)}`
    let isUnderWay = true
    const timer = setInterval(() => {
      // Progress is a nicety: without it the seconds are shown.
      api<{ share: number | null }>('GET', `/api/progress/${ask}`).then(
        ({ share }) => {
          if (isUnderWay) this.#share = share ?? undefined
        },
        () => {},
      )
    }, progressMs)
    try {
      return await api<AdviceResult>('POST', '/api/advise', { ...body, ask })
    } finally {
      isUnderWay = false
      clearInterval(timer)
      this.#share = undefined
    }
  }

  /** Works it out anew after the owner looked for what a hint says, and found nothing. */
  lookedFor(check: string): void {
    void this.load(this.#keys, [check])
  }

  /** Logs that a part was fitted. It can be taken back for ten seconds. */
  async fit(part: string, to: Part, reason: string): Promise<void> {
    this.#swapProblem = ''
    try {
      this.#swap = await api<Swap>('POST', `/api/cars/${encodeURIComponent(this.#carId)}/swaps`, {
        part,
        // A bore that was reckoned from a flow is no measure of the part.
        to: asNoted(to),
        reason: reason.slice(0, 1000),
      })
      this.#isUndoable = true
      clearTimeout(this.#undoTimer)
      this.#undoTimer = window.setTimeout(() => {
        this.#isUndoable = false
      }, undoMs)
    } catch (error) {
      this.#swapProblem = `Not logged: ${error instanceof Error ? error.message : String(error)}.`
    }
  }

  async undo(): Promise<void> {
    const swap = this.#swap
    if (!swap) return
    clearTimeout(this.#undoTimer)
    try {
      await api('DELETE', `/api/cars/${encodeURIComponent(this.#carId)}/swaps/${encodeURIComponent(swap.id)}`)
      this.#swap = undefined
    } catch (error) {
      this.#swapProblem = `Not taken back: ${error instanceof Error ? error.message : String(error)}.`
    }
    this.#isUndoable = false
  }
}
