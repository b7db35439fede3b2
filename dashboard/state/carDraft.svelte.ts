import { type CarProfile, carSchema } from '../../core/contract/car.ts'

/**
 * A car's profile while it is edited: what is saved with the changed entries laid over it. What is typed survives a visit to another page of
 * this browser until it is saved or dropped.
 */
export class CarDraft {
  readonly #saved: CarProfile
  readonly #storage: Storage | undefined
  /** Changed entries; undefined takes an entry away. */
  #changes = $state.raw<Partial<CarProfile>>({})

  constructor(saved: CarProfile, browser: Window = window) {
    this.#saved = saved
    try {
      this.#storage = browser.sessionStorage
    } catch {
      // Storage is forbidden here: the draft lasts as long as the page is shown.
    }
    this.#changes = this.#read()
  }

  get car(): CarProfile {
    return { ...this.#saved, ...this.#changes, id: this.#saved.id }
  }
  /** Entries that differ from what is saved. */
  get changed(): string[] {
    return Object.keys(this.#changes).filter(
      (name) => textOf(this.#saved[name]) !== textOf(this.#changes[name]),
    )
  }
  /** What cannot be saved as it stands, in words; empty when all is well. */
  get problem(): string {
    const parsed = carSchema.safeParse(JSON.parse(JSON.stringify(this.car)))
    if (parsed.success) return ''
    const issue = parsed.error.issues[0]
    return `${issue.path.join(' → ').replaceAll('_', ' ')}: ${issue.message}`
  }

  change(part: Partial<CarProfile>): void {
    this.#changes = { ...this.#changes, ...part }
    // JSON has no undefined: null stands for an entry that is taken away.
    const text = JSON.stringify(this.#changes, (_key, value) => (value === undefined ? null : value))
    try {
      this.#storage?.setItem(this.#key, text)
    } catch {
      // Full or forbidden: see above.
    }
  }

  drop(): void {
    this.#changes = {}
    this.forget()
  }

  /** Nothing is left to remember: it was saved. */
  forget(): void {
    this.#storage?.removeItem(this.#key)
  }

  get #key(): string {
    return `floatbowl.draft.${this.#saved.id}`
  }

  #read(): Partial<CarProfile> {
    try {
      const stored: unknown = JSON.parse(this.#storage?.getItem(this.#key) ?? 'null')
      if (stored === null || typeof stored !== 'object') return {}
      const changes = Object.fromEntries(
        Object.entries(stored).map(([name, value]) => [name, withoutNulls(value)]),
      )
      return carSchema.safeParse({ ...this.#saved, ...changes }).success ? changes : {}
    } catch {
      // An unreadable draft is no draft.
      return {}
    }
  }
}

/** A profile holds no null: what was taken away inside an entry is simply not there. */
function withoutNulls(value: unknown): unknown {
  if (value === null) return undefined
  if (Array.isArray(value) || typeof value !== 'object') return value
  return Object.fromEntries(
    Object.entries(value)
      .map(([name, inner]) => [name, withoutNulls(inner)])
      .filter(([, inner]) => inner !== undefined),
  )
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
