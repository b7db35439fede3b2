import { randomBytes } from 'node:crypto'
import { type RawData, type WebSocket, WebSocketServer } from 'ws'
import * as z from 'zod'
import type { SampleBlock } from '../../core/contract/samples.ts'
import {
  type BridgeAlarm,
  type RecordingStatus,
  type ServerMessage,
  type SourceStatus,
  streamProtocol,
} from '../../core/contract/stream.ts'
import { encodeStreamFrame } from '../../core/contract/streamFrame.ts'
import { errorText } from '../bridgeError.ts'
import type { Clock } from '../clock.ts'
import type { Logger } from '../logger.ts'
import { type BlockBatcherOptions, createBlockBatcher } from './blockBatcher.ts'
import { History, type HistoryOptions } from './history.ts'
import { StreamClient } from './streamClient.ts'

export interface LiveStreamOptions {
  clock: Clock
  logger: Logger
  version: string
  car: () => string
  sources: () => SourceStatus[]
  recording: () => RecordingStatus
  /** Alarms of the bridge's own that are on. */
  alarms: () => BridgeAlarm[]
  history?: HistoryOptions
  batcher?: BlockBatcherOptions
  /** Most pages at a time. Default 32. */
  mostClients?: number
  /** A heartbeat message goes to each page this often, ms. Default 500. */
  heartbeatMs?: number
  /** Each page is pinged this often, ms. Default 3000. */
  pingMs?: number
  /** A page that answers no ping for this long is cut off, ms. Default 7000, so that with the interval it is found within 10 s. */
  deadAfterMs?: number
  /** A page that says nothing is started on its own after this, ms. Default 200. */
  startAfterMs?: number
}

type Limits = Required<
  Pick<LiveStreamOptions, 'mostClients' | 'heartbeatMs' | 'pingMs' | 'deadAfterMs' | 'startAfterMs'>
>

export const defaultLiveStream: Readonly<Limits> = Object.freeze({
  mostClients: 32,
  heartbeatMs: 500,
  pingMs: 3000,
  deadAfterMs: 7000,
  startAfterMs: 200,
})

const clientMessageSchema = z.discriminatedUnion('type', [
  z.strictObject({
    type: z.literal('resume'),
    epoch: z.string().max(64),
    afterBlock: z.number().int().min(-1),
  }),
  z.strictObject({ type: z.literal('start') }),
])

/** A page has two short things to say; anything longer is a fault or an attack. */
const longestClientMessageBytes = 1024
/** After so many refused messages a page is cut off. */
const mostRefused = 10

/** The live stream: one history, many pages, none of which can slow another. */
export class LiveStream {
  readonly epoch = randomBytes(12).toString('hex')
  readonly sockets: WebSocketServer
  readonly #options: LiveStreamOptions & Limits
  readonly #history: History
  readonly #clients = new Set<StreamClient>()
  readonly #batchers = new Map<number, ReturnType<typeof createBlockBatcher>>()
  /** Newest declaration texts by source and segment, for pages whose history starts after them. */
  readonly #declarations = new Map<string, { channels: unknown; message: string; source: number }>()
  readonly #timers: NodeJS.Timeout[]
  #block = -1

  constructor(options: LiveStreamOptions) {
    this.#options = { ...defaultLiveStream, ...options }
    this.#history = new History(options.history)
    this.sockets = new WebSocketServer({
      noServer: true,
      perMessageDeflate: false,
      maxPayload: longestClientMessageBytes,
      clientTracking: false,
      handleProtocols: (offered) => (offered.has(streamProtocol) ? streamProtocol : false),
    })
    this.#timers = [
      setInterval(() => this.#heartbeat(), this.#options.heartbeatMs),
      setInterval(() => this.#ping(), this.#options.pingMs),
    ]
  }

  get clientCount(): number {
    return this.#clients.size
  }

  get isFull(): boolean {
    return this.#clients.size >= this.#options.mostClients
  }

  get historyBytes(): number {
    return this.#history.bytes
  }

  /** Samples of a source; copied. */
  push(block: SampleBlock): void {
    let batcher = this.#batchers.get(block.source)
    if (!batcher) {
      batcher = createBlockBatcher((gathered) => this.#sendBlock(gathered), this.#options.batcher)
      this.#batchers.set(block.source, batcher)
    }
    batcher.push(block)
  }

  /** An event, mark or record: kept with the blocks, in order. */
  event(message: Extract<ServerMessage, { type: 'event' | 'mark' | 'record' | 'problem' }>): void {
    for (const batcher of this.#batchers.values()) batcher.flush()
    this.#keepText(JSON.stringify(message))
    this.#pumpAll()
  }

  /** A changed condition: told to all, kept by nobody. */
  condition(message: Extract<ServerMessage, { type: 'source' | 'recording' | 'alarm' }>): void {
    for (const client of this.#clients) client.tell(message)
  }

  /** Takes over an upgraded socket. */
  accept(socket: WebSocket, role: 'viewer' | 'controller'): StreamClient {
    const client = new StreamClient({
      socket,
      history: this.#history,
      greetAgain: (again) => this.#tellConditions(again),
    })
    this.#clients.add(client)
    const { clock } = this.#options
    client.greet({
      type: 'hello',
      protocol: 1,
      epoch: this.epoch,
      timeS: clock.nowS(),
      at: new Date(clock.wallMs()).toISOString(),
      car: this.#options.car(),
      role,
      version: this.#options.version,
    })
    this.#tellConditions(client)
    // A page that only listens is given the last 60 s as well.
    const timer = setTimeout(() => this.#start(client, this.#history.start), this.#options.startAfterMs)
    socket.on('message', (data, isBinary) => {
      clearTimeout(timer)
      this.#hear(client, data, isBinary)
    })
    socket.on('pong', (text) => client.pong(String(text)))
    socket.on('error', (error) => this.#options.logger.warn(`live page: ${errorText(error)}`))
    socket.on('close', () => {
      clearTimeout(timer)
      this.#clients.delete(client)
    })
    return client
  }

  /** Closes all pages and timers. */
  stop(): void {
    for (const timer of this.#timers) clearInterval(timer)
    for (const batcher of this.#batchers.values()) batcher.stop()
    for (const client of this.#clients) {
      client.socket.close(1001, 'the bridge ends')
      client.socket.terminate()
    }
    this.#clients.clear()
  }

  #hear(client: StreamClient, data: RawData, isBinary: boolean): void {
    const parsed = isBinary ? undefined : parseClientMessage(String(data))
    if (!parsed) {
      if (++client.refused >= mostRefused) client.socket.close(1008, 'too many refused messages')
      return
    }
    if (client.hasStarted) return
    const resumed =
      parsed.type === 'resume' && parsed.epoch === this.epoch
        ? this.#history.afterBlock(parsed.afterBlock)
        : undefined
    this.#start(client, resumed ?? this.#history.start)
  }

  #start(client: StreamClient, position: number): void {
    if (client.hasStarted) return
    for (const { message } of this.#declarations.values()) client.socket.send(message)
    client.startAt(position)
  }

  #sendBlock(block: SampleBlock): void {
    this.#declare(block)
    const number = ++this.#block
    this.#history.add({
      timeS: block.timeS[block.count - 1],
      message: encodeStreamFrame(number, block),
      block: number,
      samples: block.count,
      source: block.source,
      segment: block.segment,
    })
    this.#pumpAll()
  }

  #declare({ source, segment, channels }: SampleBlock): void {
    const key = `${source}/${segment}`
    if (this.#declarations.get(key)?.channels === channels) return
    const message = JSON.stringify({
      type: 'declaration',
      source,
      segment,
      channels: [...channels],
    } satisfies ServerMessage)
    const isSame = this.#declarations.get(key)?.message === message
    this.#declarations.set(key, { channels, message, source })
    if (isSame) return
    this.#forgetOldDeclarations(source)
    this.#keepText(message)
  }

  /** A board that redeclares all the time must not grow this: what the history still shows is enough. */
  #forgetOldDeclarations(source: number): void {
    const keys = [...this.#declarations].filter(([, kept]) => kept.source === source).map(([key]) => key)
    if (keys.length <= 64) return
    for (const key of keys.slice(0, keys.length - 64)) this.#declarations.delete(key)
  }

  #keepText(message: string): void {
    this.#history.add({
      timeS: this.#options.clock.nowS(),
      message,
      block: -1,
      samples: 0,
      source: 0,
      segment: 0,
    })
  }

  #pumpAll(): void {
    for (const client of this.#clients) client.pump()
  }

  #tellConditions(client: StreamClient): void {
    for (const status of this.#options.sources()) client.greet({ type: 'source', status })
    client.greet({ type: 'recording', status: this.#options.recording() })
    client.greet({ type: 'alarm', alarms: this.#options.alarms() })
  }

  #heartbeat(): void {
    const message = { type: 'heartbeat' as const, timeS: this.#options.clock.nowS(), block: this.#block }
    for (const client of this.#clients) {
      client.tell(message)
      client.pump()
    }
  }

  #ping(): void {
    const nowMs = performance.now()
    for (const client of this.#clients) {
      // A close handshake would wait for the dead: cut.
      if (nowMs - client.lastPongMs > this.#options.deadAfterMs) client.socket.terminate()
      else client.ping()
    }
  }
}

function parseClientMessage(text: string): z.infer<typeof clientMessageSchema> | undefined {
  try {
    return clientMessageSchema.safeParse(JSON.parse(text)).data
  } catch {
    return undefined
  }
}
