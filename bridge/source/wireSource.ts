import { BridgeError, errorText } from '../bridgeError.ts'
import type { Clock } from '../clock.ts'
import type { Logger } from '../logger.ts'
import { createRetryDelay, type RetryDelayOptions } from './retryDelay.ts'
import type { Source, SourceSink } from './source.ts'

/** What one attempt to open a wire reports. Exactly one of `opened` and `closed` comes first; `closed` comes once. */
export interface WireEvents {
  opened(): void
  data(chunk: Uint8Array): void
  /** The wire failed to open, or was closed; `error` is undefined after our own `close()`. */
  closed(error?: BridgeError): void
}

/** One opened (or opening) wire; never used again after it closed. */
export interface Wire {
  write(text: string): void
  /** Changes the speed of an open device; `failed` when the system refuses. */
  setSpeed?(baud: number, failed: (error: unknown) => void): void
  close(): Promise<void>
}

export interface WireSourceOptions {
  name: string
  canAsk?: boolean
  clock: Clock
  logger: Logger
  /** Speed at the start of a device that has one, baud. */
  speed?: number
  /** Makes a new wire at the present speed; called anew for each attempt, so that no listener or queued write of an old one survives. */
  openWire: (events: WireEvents, speed: number) => Wire
  retry?: RetryDelayOptions
}

/**
 * A source over a wire that may be missing at the start, pulled and plugged at any time: opens it again by itself with growing delays
 * of at most 5 s.
 */
export function createWireSource(options: WireSourceOptions): Source {
  const { name, clock, logger } = options
  const delay = createRetryDelay(options.retry)
  let sink: SourceSink | undefined
  let wire: Wire | undefined
  let isOpen = false
  let stopped = false
  let timer: NodeJS.Timeout | undefined
  let attempt = 0
  let speed = options.speed

  const scheduleOpen = () => {
    if (stopped) return
    clearTimeout(timer)
    timer = setTimeout(open, delay.nextMs())
  }

  const open = () => {
    if (stopped || !sink) return
    const mine = ++attempt
    const target = sink
    let closed = false
    // An old wire may still report after a reopen: only the newest attempt is listened to.
    const current = () => mine === attempt && !closed
    const events: WireEvents = {
      opened() {
        if (!current()) return
        isOpen = true
        logger.info(`${name}: open`)
        target.wire('open', 'port is open, waiting for the board')
      },
      data(chunk) {
        if (!current()) return
        delay.reset()
        target.bytes(chunk, clock.nowS())
      },
      closed(error) {
        if (!current()) return
        closed = true
        wire = undefined
        isOpen = false
        if (stopped) return
        const text = error ? error.message : `${name} was closed`
        logger.warn(text)
        target.wire('lost', text)
        scheduleOpen()
      },
    }
    try {
      wire = options.openWire(events, speed ?? 0)
      if (closed) wire = undefined
    } catch (error) {
      events.closed(
        error instanceof BridgeError
          ? error
          : new BridgeError('port_failed', errorText(error), { cause: error }),
      )
    }
  }

  const dropWire = async () => {
    const old = wire
    attempt++
    wire = undefined
    isOpen = false
    if (old) await old.close()
  }

  const openAgain = () => {
    dropWire().then(scheduleOpen, (error: unknown) => {
      logger.warn(`${name}: ${errorText(error)}`)
      scheduleOpen()
    })
  }

  const setSpeed = (baud: number) => {
    speed = baud
    if (!wire || !isOpen) return
    if (!wire.setSpeed) openAgain()
    else wire.setSpeed(baud, openAgain)
  }

  return {
    name,
    canAsk: options.canAsk ?? true,
    start(target) {
      sink = target
      target.wire('connecting', `opening ${name}`)
      open()
    },
    write(text) {
      if (!wire || !isOpen) return false
      wire.write(text)
      return true
    },
    get speed() {
      return speed
    },
    ...(speed !== undefined && { setSpeed }),
    reopen() {
      if (stopped || !wire) return
      logger.info(`${name}: silent, opening it again`)
      openAgain()
    },
    async stop() {
      stopped = true
      clearTimeout(timer)
      await dropWire()
    },
  }
}
