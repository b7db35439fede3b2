import { createSubscriber } from 'svelte/reactivity'
import { isQuestion, type Question } from '../words/drivePlan.ts'

export type ThemeChoice = 'auto' | 'day' | 'dark' | 'night'
export type Theme = 'day' | 'dark' | 'night'

/** What the person chose for this screen; car profiles and runs know nothing of it. */
export interface SettingValues {
  theme: ThemeChoice
  /** Screen units per quantity; what is missing follows the car's profile, then SI. */
  units: Record<string, string>
  /** CSS pixels per inch by the size check; 0 = never checked, then a 10.1-inch tablet is assumed. */
  pixelsPerInch: number
  /** Bank whose number is shown outside the power state. */
  bank: 1 | 2
  /** Single-letter keys on desk pages. */
  letterKeys: boolean
  /** Channels of the trace page, in order. */
  traceChannels: string[]
  /** Answer to "heard?" of the sound test. */
  soundHeard: boolean
  /** What the next drive should answer. */
  question: Question
}

export const defaultSettings: Readonly<SettingValues> = Object.freeze({
  theme: 'auto',
  units: {},
  pixelsPerInch: 0,
  bank: 1,
  letterKeys: true,
  traceChannels: [],
  soundHeard: false,
  question: 'all',
})

const storageKey = 'floatbowl.settings'
/** A 10.1-inch tablet of 1280×800, for which the sizes of the drive page were drawn. */
export const designPixelsPerInch = 149
/** The size factor stays where the page still fits without scrolling. */
const leastFactor = 1
const mostFactor = 1.3

/** Settings of this browser, kept in its storage where that is allowed and in memory where not; follows other tabs. */
export class Settings {
  #values = $state.raw<SettingValues>({ ...defaultSettings })
  #storage: Storage | undefined
  #subscribe: () => void
  #dark: MediaQueryList
  /** Theme held while recording, so that it never flips by itself then. */
  #held = $state.raw<Theme | undefined>(undefined)

  constructor(browser: Window = window) {
    try {
      this.#storage = browser.localStorage
    } catch {
      // Storage is forbidden here (private mode, policy): the choices last until the page is closed.
    }
    this.#read()
    this.#dark = browser.matchMedia('(prefers-color-scheme: dark)')
    this.#subscribe = createSubscriber((update) => {
      const stored = (event: StorageEvent) => {
        if (event.key === storageKey) this.#read()
      }
      browser.addEventListener('storage', stored)
      this.#dark.addEventListener('change', update)
      return () => {
        browser.removeEventListener('storage', stored)
        this.#dark.removeEventListener('change', update)
      }
    })
  }

  get values(): SettingValues {
    this.#subscribe()
    return this.#values
  }

  get theme(): Theme {
    this.#subscribe()
    const { theme } = this.#values
    if (theme !== 'auto') return theme
    return this.#held ?? (this.#dark.matches ? 'dark' : 'day')
  }

  /** Keeps (true) or frees (false) the theme that the system's preference gives now. */
  holdTheme(on: boolean): void {
    this.#held = on ? (this.#held ?? (this.#dark.matches ? 'dark' : 'day')) : undefined
  }

  /** Factor on every size of the drive page, so that arc minutes hold on a denser screen. */
  get sizeFactor(): number {
    const { pixelsPerInch } = this.values
    if (!pixelsPerInch) return 1
    return Math.min(mostFactor, Math.max(leastFactor, pixelsPerInch / designPixelsPerInch))
  }

  set(change: Partial<SettingValues>): void {
    this.#values = { ...this.#values, ...change }
    try {
      this.#storage?.setItem(storageKey, JSON.stringify(this.#values))
    } catch {
      // Storage is full or forbidden: the choice still holds until the page is closed.
    }
  }

  /** Changes them for this view only, without keeping them. */
  preview(change: Partial<SettingValues>): void {
    this.#values = { ...this.#values, ...change }
  }

  setUnit(quantity: string, unit: string): void {
    this.set({ units: { ...this.#values.units, [quantity]: unit } })
  }

  #read(): void {
    try {
      const stored: unknown = JSON.parse(this.#storage?.getItem(storageKey) ?? 'null')
      if (stored && typeof stored === 'object') this.#values = checked(stored as Record<string, unknown>)
    } catch {
      // Unreadable settings are no settings.
    }
  }
}

/** Takes from stored text only what has the right shape; the rest keeps its default. */
function checked(stored: Record<string, unknown>): SettingValues {
  const values: SettingValues = { ...defaultSettings }
  if (['auto', 'day', 'dark', 'night'].includes(String(stored.theme)))
    values.theme = stored.theme as ThemeChoice
  if (stored.units && typeof stored.units === 'object') {
    values.units = Object.fromEntries(
      Object.entries(stored.units).filter((entry): entry is [string, string] => typeof entry[1] === 'string'),
    )
  }
  const ppi = Number(stored.pixelsPerInch)
  if (ppi > 40 && ppi < 1000) values.pixelsPerInch = ppi
  if (stored.bank === 2) values.bank = 2
  if (stored.letterKeys === false) values.letterKeys = false
  if (Array.isArray(stored.traceChannels))
    values.traceChannels = stored.traceChannels.filter((name) => typeof name === 'string').slice(0, 24)
  if (stored.soundHeard === true) values.soundHeard = true
  if (isQuestion(stored.question)) values.question = stored.question
  return values
}
