import type { WebSocket } from 'ws'
import type { ServerMessage } from '../../core/contract/stream.ts'
import type { History, StreamItem } from './history.ts'

/** A page whose socket holds more than this is behind: live blocks are skipped for it (threads of the socket library advise the check). */
export const mostQueuedBytes = 64 * 1024
/**
 * Most bytes on the way to a page: the system's own buffers take megabytes of what a slow link has not carried yet, and a page would fall minutes behind
 * unseen. What has arrived is known by pings that say how much was sent before them.
 */
export const mostOnTheWayBytes = 128 * 1024
/** A burst may take more for so long, ms: what a ping needs to come back on a link that is well. */
const burstMs = 1000
/** A ping goes after so many bytes, so that a link which carries little, but carries, is not taken for dead. */
const pingEveryBytes = 16 * 1024

/** Texts that tell a condition, not an event, are dropped for a stalled page: it gets the newest ones when it is back. */
type Condition = Extract<ServerMessage, { type: 'source' | 'recording' | 'heartbeat' | 'alarm' }>

export interface StreamClientOptions {
  socket: WebSocket
  history: History
  /** Called when a stalled page is back: it is told anew what it cannot know. */
  greetAgain: (client: StreamClient) => void
}

/** One page at the live stream: a place in the shared history and a bounded queue in its socket. It holds no samples of its own. */
export class StreamClient {
  readonly socket: WebSocket
  readonly #history: History
  readonly #greetAgain: (client: StreamClient) => void
  #position = Number.NaN
  /** True while the page is given what was kept; it may lag then. */
  #isFilling = false
  #isStalled = false
  #missedBlocks = 0
  #missedSamples = 0
  /** Blocks and samples of the stream before this page's place. */
  #passed = { blocks: 0, samples: 0 }
  #pumpAgain = false
  // Bytes handed to the socket; of them told in a ping; of those known to have arrived.
  #sentBytes = 0
  #pingedBytes = 0
  #arrivedBytes = 0
  /** Since when a ping waits for its answer, ms; NaN when none does. */
  #waitsSinceMs = Number.NaN
  readonly #nowMs: () => number
  /** When the page last answered a ping, or came, ms. */
  lastPongMs: number
  refused = 0

  constructor(options: StreamClientOptions, nowMs: () => number = () => performance.now()) {
    this.socket = options.socket
    this.#history = options.history
    this.#greetAgain = options.greetAgain
    this.#nowMs = nowMs
    this.lastPongMs = nowMs()
  }

  get hasStarted(): boolean {
    return !Number.isNaN(this.#position)
  }

  /** Asks whether what was sent has arrived. */
  ping(): void {
    this.#pingedBytes = this.#sentBytes
    if (Number.isNaN(this.#waitsSinceMs)) this.#waitsSinceMs = this.#nowMs()
    this.socket.ping(String(this.#sentBytes))
  }

  /** Takes the answer to a ping, and sends on what waited for it. */
  pong(text: string): void {
    this.lastPongMs = this.#nowMs()
    const bytes = Number(text)
    // Nothing that a page says can raise this over what was sent.
    if (bytes > this.#arrivedBytes && bytes <= this.#sentBytes) this.#arrivedBytes = bytes
    this.#waitsSinceMs = this.#arrivedBytes >= this.#pingedBytes ? Number.NaN : this.lastPongMs
    this.pump()
  }

  /** Starts at a position of the history; older ones that are gone count as missed. */
  startAt(position: number): void {
    this.#position = position
    const { start, gone } = this.#history
    this.#passed = { ...gone }
    for (let at = start; at < position; at++) this.#pass(this.#history.at(at))
    this.#isFilling = true
    this.pump()
  }

  /** Tells a condition; skipped while the page is behind. */
  tell(message: Condition): void {
    if (this.#isStalled || !this.#hasRoom(0)) return
    this.#send(JSON.stringify(message))
  }

  /** Sends a message whatever the queue: for the few of a greeting only. */
  greet(message: ServerMessage): void {
    this.#send(JSON.stringify(message))
  }

  /** Sends on from the history as far as the queue allows. Called with each new item and as the queue drains. */
  pump(): void {
    if (!this.hasStarted || this.socket.readyState !== this.socket.OPEN) return
    this.#skipGone()
    if (this.#isStalled) {
      if (!this.#hasRoom(mostQueuedBytes / 2)) return
      this.#returnToLive()
    }
    while (this.#position < this.#history.end) {
      const item = this.#history.at(this.#position)
      if (!this.#hasRoom(item.message.length)) {
        if (!this.#isFilling) this.#isStalled = true
        return
      }
      this.#position++
      this.#pass(item)
      // Filling goes on when the socket has taken what it holds; a live page is pumped by the next block.
      this.#send(item.message, this.#isFilling)
    }
    this.#isFilling = false
    this.#tellMissed()
  }

  /** Passes over what came while the page was stalled: texts are told, blocks are counted. */
  #returnToLive(): void {
    this.#isStalled = false
    let textBytes = 0
    for (; this.#position < this.#history.end; this.#position++) {
      const item = this.#history.at(this.#position)
      this.#pass(item)
      if (item.block >= 0) {
        this.#missedBlocks++
        this.#missedSamples += item.samples
      } else if (textBytes < mostQueuedBytes / 2) {
        textBytes += item.message.length
        this.#send(item.message)
      }
    }
    this.#tellMissed()
    this.#greetAgain(this)
  }

  /** The history moved on past this page: what is gone cannot be sent, only counted. */
  #skipGone(): void {
    const { start, gone } = this.#history
    if (this.#position >= start) return
    this.#missedBlocks += gone.blocks - this.#passed.blocks
    this.#missedSamples += gone.samples - this.#passed.samples
    this.#passed = { ...gone }
    this.#position = start
  }

  #pass(item: StreamItem): void {
    if (item.block < 0) return
    this.#passed.blocks++
    this.#passed.samples += item.samples
  }

  #tellMissed(): void {
    if (this.#missedBlocks === 0) return
    const message: ServerMessage = {
      type: 'missed',
      blocks: this.#missedBlocks,
      samples: this.#missedSamples,
    }
    this.#missedBlocks = 0
    this.#missedSamples = 0
    this.#send(JSON.stringify(message))
  }

  #hasRoom(bytes: number): boolean {
    const { bufferedAmount } = this.socket
    const onTheWay = this.#sentBytes - this.#arrivedBytes
    if (onTheWay + bytes > mostOnTheWayBytes && this.#nowMs() - this.#waitsSinceMs > burstMs) return false
    // An empty socket takes any one block, however large.
    return bufferedAmount === 0 || bufferedAmount + bytes <= mostQueuedBytes
  }

  #send(message: Uint8Array | string, pumpAfter = false): void {
    this.#sentBytes += message.length
    this.#hand(message, pumpAfter)
    if (this.#sentBytes - this.#pingedBytes >= pingEveryBytes) this.ping()
  }

  #hand(message: Uint8Array | string, pumpAfter: boolean): void {
    if (!pumpAfter || this.#pumpAgain) {
      this.socket.send(message)
      return
    }
    this.#pumpAgain = true
    this.socket.send(message, () => {
      this.#pumpAgain = false
      this.pump()
    })
  }
}
