import { type CarProfile, carSchema } from '../../core/contract/car.ts'
import type { LiveAlarm, LiveReading } from '../../core/contract/live.ts'
import type { ServerMessage, SourceStatus } from '../../core/contract/stream.ts'
import type { LinkCut } from '../words/alarmWords.ts'
import type {
  FromWorker,
  LinkStatus,
  ToWorker,
  TraceAnswer,
  TraceChannel,
  TraceRequest,
} from '../worker/messages.ts'
import type { Alarms } from './alarms.svelte.ts'
import type { Clock } from './clock.svelte.ts'
import { elapsedText } from './clock.svelte.ts'
import { CoverageNews } from './coverageNews.ts'
import type { Reading } from './reading.svelte.ts'
import type { Recording } from './recording.svelte.ts'

type Hello = Extract<ServerMessage, { type: 'hello' }>
type Problem = Extract<ServerMessage, { type: 'problem' }>

/** A trace request that gets no answer for so long has failed, ms. */
const traceTimeoutMs = 5000
/** Three heartbeats that did not come: what is silent is the link, and not the board behind it, s. */
const linkSilenceS = 1.5
const alarmPriorities = ['warning', 'caution', 'advisory']

/** The page's side of the worker that owns the stream and the pipeline. */
export class Link {
  #worker: Worker | undefined
  #status = $state.raw<LinkStatus>({ state: 'connecting', failures: 0 })
  #lostMs = $state.raw(0)
  #hello = $state.raw<Hello | undefined>(undefined)
  #isGreeted = $state.raw(false)
  #sources = $state.raw<readonly SourceStatus[]>([])
  #channels = $state.raw<readonly TraceChannel[]>([])
  #problem = $state.raw<Problem | undefined>(undefined)
  #missed = $state.raw(0)
  #previewRole = $state.raw<'viewer' | 'controller'>('viewer')
  #clockDriftS = $state.raw(0)
  #car = $state.raw<CarProfile | undefined>(undefined)
  #bridgeAlarms: readonly LiveAlarm[] = []
  readonly #news = new CoverageNews()
  #isSilent = $state.raw(false)
  #traceS = Number.NaN
  #traceId = 0
  #traces = new Map<
    number,
    { resolve: (answer: TraceAnswer) => void; reject: (error: Error) => void; timer: number }
  >()
  readonly #clock: Clock
  readonly #reading: Reading
  readonly #recording: Recording
  readonly #alarms: Alarms

  constructor(clock: Clock, reading: Reading, recording: Recording, alarms: Alarms) {
    this.#alarms = alarms
    this.#clock = clock
    this.#reading = reading
    this.#recording = recording
  }

  /** Starts the worker and the stream. Returns what ends them. */
  open(createWorker: () => Worker): () => void {
    const worker = createWorker()
    this.#worker = worker
    worker.onmessage = (event: MessageEvent<FromWorker>) => this.#hear(event.data)
    const address = new URL('/live', location.href)
    address.protocol = address.protocol === 'https:' ? 'wss:' : 'ws:'
    address.hash = ''
    address.search = ''
    this.#tell({ type: 'open', url: address.href })
    const back = () => {
      if (document.visibilityState === 'visible') this.#tell({ type: 'nudge' })
    }
    document.addEventListener('visibilitychange', back)
    window.addEventListener('pageshow', back)
    window.addEventListener('online', back)
    return () => {
      document.removeEventListener('visibilitychange', back)
      window.removeEventListener('pageshow', back)
      window.removeEventListener('online', back)
      worker.terminate()
    }
  }

  get status(): LinkStatus {
    return this.#status
  }
  get isOpen(): boolean {
    return this.#status.state === 'open'
  }
  /** Why nothing comes from the bridge; undefined while it is heard. */
  get cut(): LinkCut | undefined {
    if (this.#status.problem === 'not_paired') return 'not_paired'
    return this.isOpen && !this.#isSilent ? undefined : 'away'
  }
  get hello(): Hello | undefined {
    return this.#hello
  }
  get role(): 'viewer' | 'controller' {
    return this.#hello?.role ?? this.#previewRole
  }
  /** Shows what this role sees, without a bridge: tests, pictures. */
  preview(role: 'viewer' | 'controller'): void {
    this.#previewRole = role
  }

  /** The bridge has told all that it tells a page that joins: its sources come after the hello, before anything else. */
  get isGreeted(): boolean {
    return this.#isGreeted
  }

  get sources(): readonly SourceStatus[] {
    return this.#sources
  }
  get channels(): readonly TraceChannel[] {
    return this.#channels
  }
  get problem(): Problem | undefined {
    return this.#problem
  }
  /** Samples that the bridge left out since this page was too slow or away too long. */
  get missed(): number {
    return this.#missed
  }
  /** The bridge's wall clock minus this screen's. */
  get clockDriftS(): number {
    return this.#clockDriftS
  }
  /** Newest time on the trace's clock. */
  get traceS(): number {
    return this.#traceS
  }
  /** Car in use, for the head of each page. */
  get carText(): string {
    const car = this.#car
    return car ? (car.name ?? car.id) : (this.#hello?.car ?? '')
  }
  /** Profile of the car in use, once it was loaded. */
  get car(): CarProfile | undefined {
    return this.#car
  }

  /** Says that the bridge is away, and since when. */
  get offlineText(): string {
    if (this.#status.problem === 'not_paired')
      return 'This screen is not paired with the bridge. Open the pairing link or its code from the bridge.'
    if (this.isOpen) return 'The bridge answers; what is shown is current.'
    const seconds = Math.round((this.#clock.nowMs - this.#lostMs) / 1000)
    return `No link to the bridge for ${seconds < 60 ? `${seconds} s` : elapsedText(seconds)}. What is shown was loaded before; trying again.`
  }

  /** Columns for the trace. Rejects when the worker gives no answer in time. */
  trace(request: Omit<TraceRequest, 'id'>): Promise<TraceAnswer> {
    const id = ++this.#traceId
    return new Promise((resolve, reject) => {
      const timer = window.setTimeout(() => {
        this.#traces.delete(id)
        reject(new Error('no trace columns within 5 s'))
      }, traceTimeoutMs)
      this.#traces.set(id, { resolve, reject, timer })
      this.#tell({ type: 'trace', request: { ...request, id } })
    })
  }

  /** The car in use: its targets, units and sensor enter the live pipeline. */
  setCar(car: CarProfile): void {
    this.#car = car
    this.#tell({ type: 'car', car })
  }

  /** The pipeline's alarms, the bridge's own and the news of the drive, highest first. Silence is an alarm only while something is lost by it. */
  #alarmsOf({ alarms, coverage, timeS }: LiveReading): readonly LiveAlarm[] {
    const isOn = this.#recording.status.on
    const news = this.#news.step(coverage, timeS)
    return [
      ...(isOn ? alarms : alarms.filter((alarm) => alarm.code !== 'no_samples')),
      ...this.#bridgeAlarms,
      ...(isOn ? news : []),
    ].sort((a, b) => alarmPriorities.indexOf(a.priority) - alarmPriorities.indexOf(b.priority))
  }

  #tell(message: ToWorker): void {
    this.#worker?.postMessage(message)
  }

  #hear(message: FromWorker): void {
    switch (message.type) {
      case 'live':
        this.#traceS = message.traceS
        this.#isSilent = message.linkSilentS > linkSilenceS
        this.#reading.receive(message.reading, message.ageS)
        this.#alarms.receive(this.#alarmsOf(message.reading), message.reading.timeS)
        return
      case 'link':
        if (message.status.state === 'lost' && this.#status.state !== 'lost') this.#lostMs = performance.now()
        this.#status = message.status
        return
      case 'car':
        this.#car = message.car
        return
      case 'channels':
        this.#channels = message.channels
        return
      case 'trace': {
        const waiting = this.#traces.get(message.answer.id)
        if (!waiting) return
        this.#traces.delete(message.answer.id)
        clearTimeout(waiting.timer)
        waiting.resolve(message.answer)
        return
      }
      case 'said':
        this.#said(message.message)
    }
  }

  #said(message: Extract<FromWorker, { type: 'said' }>['message']): void {
    if (message.type !== 'hello' && message.type !== 'source') this.#isGreeted = true
    switch (message.type) {
      case 'hello':
        this.#hello = message
        this.#bridgeAlarms = []
        this.#clockDriftS = (Date.parse(message.at) - Date.now()) / 1000
        return
      case 'source':
        this.#sources = [
          ...this.#sources.filter((status) => status.source !== message.status.source),
          message.status,
        ].sort((a, b) => a.source - b.source)
        return
      case 'recording':
        this.#recording.receive(message.status)
        return
      case 'mark':
        this.#recording.marked()
        return
      case 'missed':
        this.#missed += message.samples
        return
      case 'problem':
        this.#problem = message
        return
      case 'alarm':
        this.#bridgeAlarms = message.alarms.map((alarm) => ({
          ...alarm,
          endS: Number.NaN,
          worst: alarm.worst ?? Number.NaN,
        }))
        return
      case 'record': {
        const parsed = message.record.type === 'car' ? carSchema.safeParse(message.record.car) : undefined
        if (parsed?.success) this.#car = parsed.data
        return
      }
      case 'event':
        // The worker's pipeline takes them; the page shows their effect.
        return
    }
  }
}
