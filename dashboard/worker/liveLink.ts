import { type ClientMessage, type ServerMessage, streamProtocol } from '../../core/contract/stream.ts'
import type { LinkStatus } from './messages.ts'

/** First delay before a new attempt, ms; it doubles up to the longest. Source: RFC 6455 7.2.3 asks for a growing random delay. */
const firstDelayMs = 250
const longestDelayMs = 5000
/** ± share of the delay that is random, so that several screens do not come back in step. */
const jitter = 0.5
/** Nothing heard for so long (heartbeats come each 0.5 s): the link is dead whatever the socket says. */
const silenceMs = 3500
/** A person is back in front of the page: less patience. */
const nudgeSilenceMs = 1200
const watchMs = 200

export interface LiveLinkOptions {
  url: string
  createSocket: (url: string, protocol: string) => WebSocket
  nowMs: () => number
  random: () => number
  onmessage: (message: ServerMessage) => void
  onframe: (data: ArrayBuffer) => void
  onstatus: (status: LinkStatus) => void
  /** Asked after a failed attempt: is this screen refused? */
  isRefused: () => Promise<boolean>
}

/**
 * The page's end of the live stream: opens it, finds out when it is dead, opens it anew, and asks for what was missed by the number of the
 * last block it had.
 */
export class LiveLink {
  readonly #options: LiveLinkOptions
  #socket: WebSocket | undefined
  #status: LinkStatus = { state: 'connecting', failures: 0 }
  #heardMs = 0
  #opened = false
  /** Attempts that failed in a row since a person last came back: the delay grows with them. */
  #attempts = 0
  #retry: ReturnType<typeof setTimeout> | undefined
  #watch: ReturnType<typeof setInterval>
  #epoch = ''
  #block = -1

  constructor(options: LiveLinkOptions) {
    this.#options = options
    this.#watch = setInterval(() => this.#check(silenceMs), watchMs)
    this.#connect()
  }

  /** Number of the newest block that was handled. */
  set block(number: number) {
    this.#block = number
  }

  /** Since when the open link brought nothing, not even a heartbeat, ms; 0 while it is not open. */
  get silentMs(): number {
    return this.#opened ? this.#options.nowMs() - this.#heardMs : 0
  }

  /** A person is back: what is tried now, and at once after it, does not wait as long as the failures before would have it. */
  nudge(): void {
    this.#attempts = 0
    if (this.#socket) this.#check(nudgeSilenceMs)
    else this.#connect()
  }

  close(): void {
    clearInterval(this.#watch)
    clearTimeout(this.#retry)
    this.#abandon()
  }

  #connect(): void {
    clearTimeout(this.#retry)
    this.#abandon()
    this.#opened = false
    this.#heardMs = this.#options.nowMs()
    if (this.#status.state !== 'lost') this.#tell({ ...this.#status, state: 'connecting' })
    let socket: WebSocket
    try {
      socket = this.#options.createSocket(this.#options.url, streamProtocol)
    } catch {
      // A blocked address throws at once: the same as a refused connection.
      this.#failed()
      return
    }
    this.#socket = socket
    socket.binaryType = 'arraybuffer'
    socket.onmessage = (event) => this.#hear(event.data)
    socket.onclose = () => this.#failed()
    socket.onerror = () => {
      // A close event follows, and says all there is to know.
    }
  }

  #hear(data: unknown): void {
    this.#heardMs = this.#options.nowMs()
    if (data instanceof ArrayBuffer) {
      this.#options.onframe(data)
      return
    }
    const message = parse(data)
    if (!message) return
    if (message.type === 'hello') this.#greeted(message.epoch)
    this.#options.onmessage(message)
  }

  #greeted(epoch: string): void {
    const first: ClientMessage =
      epoch === this.#epoch && this.#block >= 0
        ? { type: 'resume', epoch, afterBlock: this.#block }
        : { type: 'start' }
    if (epoch !== this.#epoch) this.#block = -1
    this.#epoch = epoch
    this.#socket?.send(JSON.stringify(first))
    this.#opened = true
    this.#tell({ state: 'open', failures: 0 })
  }

  #check(limitMs: number): void {
    if (this.#socket && this.#options.nowMs() - this.#heardMs > limitMs) this.#failed()
  }

  #failed(): void {
    const hadOpened = this.#opened
    this.#abandon()
    const failures = hadOpened ? 1 : this.#status.failures + 1
    this.#tell({ ...this.#status, state: 'lost', failures })
    this.#attempts = hadOpened ? 1 : this.#attempts + 1
    const delayMs = Math.min(longestDelayMs, firstDelayMs * 2 ** Math.min(8, this.#attempts - 1))
    const jittered = delayMs * (1 - jitter + 2 * jitter * this.#options.random())
    this.#retry = setTimeout(() => this.#connect(), Math.min(longestDelayMs, jittered))
    if (!hadOpened) this.#askWhy()
  }

  #askWhy(): void {
    this.#options.isRefused().then(
      (isRefused) => {
        if (this.#status.state !== 'open')
          this.#tell({ ...this.#status, problem: isRefused ? 'not_paired' : undefined })
      },
      () => {
        // No answer at all: the bridge is away, which the state says already.
      },
    )
  }

  /** Lets go of the socket without waiting for a close handshake that a dead peer never answers. */
  #abandon(): void {
    const socket = this.#socket
    this.#socket = undefined
    this.#opened = false
    if (!socket) return
    socket.onmessage = null
    socket.onclose = null
    socket.onerror = () => {
      // Late errors of an abandoned socket mean nothing.
    }
    socket.close()
  }

  #tell(status: LinkStatus): void {
    const before = this.#status
    this.#status = status
    if (
      before.state !== status.state ||
      before.failures !== status.failures ||
      before.problem !== status.problem
    )
      this.#options.onstatus(status)
  }
}

function parse(data: unknown): ServerMessage | undefined {
  try {
    const message: unknown = JSON.parse(String(data))
    if (message && typeof message === 'object' && 'type' in message) return message as ServerMessage
  } catch {
    // A torn message is passed over; the watchdog deals with a link that sends nothing else.
  }
  return undefined
}
