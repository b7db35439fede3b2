import type { RunSummary } from '../../core/contract/api.ts'
import type { RunSource } from '../worker/runMessages.ts'
import { elapsedText } from './clock.svelte.ts'
import { ApiError, fetchCars, fetchRuns, runBytesUrl } from './runsApi.ts'
import { RunsView } from './runsView.svelte.ts'
import type { RunsWorker } from './runsWorker.svelte.ts'

export type RunsState = 'loading' | 'ready' | 'error' | 'offline'

/** Prefix of the key of a run that was dropped on the page. */
const droppedPrefix = 'file:'

/** The runs this page knows: the bridge's list, and files that were dropped on it. */
export class Runs {
  readonly worker: RunsWorker
  readonly view = new RunsView()
  #list = $state.raw<readonly RunSummary[]>([])
  #state = $state.raw<RunsState>('loading')
  #problem = $state.raw<{ text: string; code: string }>({ text: '', code: '' })
  #loadedMs = $state.raw(Number.NaN)
  #carNames = $state.raw<ReadonlyMap<string, string>>(new Map())
  #dropped = $state.raw<ReadonlyMap<string, File>>(new Map())
  #droppedCount = 0
  /** Runs whose analysis the worker has, and will keep for a long while. */
  readonly analysed = new Set<string>()
  #loading: Promise<void> | undefined

  constructor(worker: RunsWorker) {
    this.worker = worker
  }

  get list(): readonly RunSummary[] {
    return this.#list
  }
  get state(): RunsState {
    return this.#state
  }
  get problem(): { text: string; code: string } {
    return this.#problem
  }
  /** How long ago the shown list was loaded, for the offline band. */
  get ageText(): string {
    if (Number.isNaN(this.#loadedMs)) return 'No list was loaded yet.'
    return `The list is from ${elapsedText((performance.now() - this.#loadedMs) / 1000)} ago.`
  }
  get dropped(): readonly string[] {
    return [...this.#dropped.keys()]
  }

  /** Loads the list; what was loaded before stays when the bridge is away. */
  load(): Promise<void> {
    this.#loading ??= this.#load().finally(() => {
      this.#loading = undefined
    })
    return this.#loading
  }

  async #load(): Promise<void> {
    if (this.#list.length === 0) this.#state = 'loading'
    try {
      // Names are a nicety: without them the ids stand.
      const names = fetchCars().then(
        (cars) => new Map(cars.map((car) => [car.id, car.name ?? car.id])),
        () => undefined,
      )
      this.#list = await fetchRuns()
      this.#carNames = (await names) ?? this.#carNames
      this.#loadedMs = performance.now()
      this.#state = 'ready'
    } catch (error) {
      const { status, code, message } =
        error instanceof ApiError ? error : new ApiError(-1, 'failed', String(error))
      this.#problem = { text: message, code }
      this.#state = status === 0 ? 'offline' : 'error'
    }
  }

  /** A car's name, its id where it has none. */
  carName(id: string): string {
    return this.#carNames.get(id) ?? id
  }

  find(id: string): RunSummary | undefined {
    return this.#list.find((run) => run.id === id)
  }

  /** The run of the same car before this one; the list is newest first. */
  before(run: RunSummary): RunSummary | undefined {
    return this.#list.slice(this.#list.indexOf(run) + 1).find(({ car }) => car === run.car)
  }

  /** Takes a dropped file in; returns the key under which it is opened. */
  drop(file: File): string {
    const key = `${droppedPrefix}${++this.#droppedCount} ${file.name}`
    this.#dropped = new Map([...this.#dropped, [key, file]])
    return key
  }

  /** Name of a run for a person, from its key. */
  nameOf(key: string): string {
    return this.#dropped.get(key)?.name ?? this.find(key)?.title ?? key.split('/').at(-1) ?? key
  }

  isDropped(key: string): boolean {
    return key.startsWith(droppedPrefix)
  }

  /** Where the bytes of a run are; undefined for a dropped file that this page does not hold (any more). */
  sourceOf(key: string): RunSource | undefined {
    const file = this.#dropped.get(key)
    if (file) return { kind: 'file', blob: file, name: file.name }
    if (this.isDropped(key)) return undefined
    const bytes = this.find(key)?.bytes
    return { kind: 'bridge', url: runBytesUrl(key), ...(bytes === undefined ? {} : { bytes }) }
  }

  /** Runs of the same car up to this one that can be opened, oldest first, this one last; at most `most`. */
  upTo(key: string, most: number): string[] {
    const own = this.find(key)
    if (!own) return [key]
    const earlier = this.#list
      .filter((run) => run.car === own.car && run.id !== key && !run.problem && !run.recording)
      .filter((run) => Date.parse(run.start) <= Date.parse(own.start))
      .sort((a, b) => Date.parse(a.start) - Date.parse(b.start))
    return [...earlier.map((run) => run.id), key].slice(-most)
  }
}
