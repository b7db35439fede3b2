import { type CarProfile, carSchema } from '../../core/contract/car.ts'

/**
 * A car's profile while it is edited. What is typed survives a visit to another page of this browser until it is saved or dropped.
 */
export class CarDraft {
  readonly #saved: CarProfile
  readonly #storage: Storage | undefined
  #car = $state.raw<CarProfile>({ id: 'my-car' })

  constructor(saved: CarProfile, browser: Window = window) {
    this.#saved = saved
    try {
      this.#storage = browser.sessionStorage
    } catch {
      // Storage is forbidden here: the draft lasts as long as the page is shown.
    }
    this.#car = this.#read() ?? saved
  }

  get car(): CarProfile {
    return this.#car
  }
  /** Top-level entries that differ from what is saved. */
  get changed(): string[] {
    const names = [...new Set([...Object.keys(this.#saved), ...Object.keys(this.#car)])]
    return names.filter((name) => textOf(this.#saved[name]) !== textOf(this.#car[name]))
  }
  /** What cannot be saved as it stands, in words; empty when all is well. */
  get problem(): string {
    const parsed = carSchema.safeParse(JSON.parse(JSON.stringify(this.#car)))
    if (parsed.success) return ''
    const issue = parsed.error.issues[0]
    return `${issue.path.join(' → ').replaceAll('_', ' ')}: ${issue.message}`
  }

  change(part: Partial<CarProfile>): void {
    this.#car = { ...this.#car, ...part }
    try {
      this.#storage?.setItem(this.#key, JSON.stringify(this.#car))
    } catch {
      // Full or forbidden: see above.
    }
  }

  drop(): void {
    this.#car = this.#saved
    this.forget()
  }

  /** Nothing is left to remember: it was saved. */
  forget(): void {
    this.#storage?.removeItem(this.#key)
  }

  get #key(): string {
    return `floatbowl.draft.${this.#saved.id}`
  }

  #read(): CarProfile | undefined {
    try {
      const stored: unknown = JSON.parse(this.#storage?.getItem(this.#key) ?? 'null')
      const parsed = carSchema.safeParse(stored)
      return parsed.success && parsed.data.id === this.#saved.id ? parsed.data : undefined
    } catch {
      // An unreadable draft is no draft.
      return undefined
    }
  }
}

/** Entries that say nothing count as absent. */
function textOf(value: unknown): string {
  const text = JSON.stringify(value, (_key, inner) =>
    inner && typeof inner === 'object' && !Array.isArray(inner)
      ? Object.fromEntries(Object.entries(inner).sort(([a], [b]) => a.localeCompare(b)))
      : inner,
  )
  return text === undefined || text === '{}' || text === '""' ? '' : text
}
