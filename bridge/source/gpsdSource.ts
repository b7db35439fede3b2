import { connect } from 'node:net'
import { BridgeError, errorText } from '../bridgeError.ts'
import type { Clock } from '../clock.ts'
import type { Logger } from '../logger.ts'
import { createRawLines } from './rawLines.ts'
import type { RetryDelayOptions } from './retryDelay.ts'
import type { Source } from './source.ts'
import { createWireSource, type WireEvents } from './wireSource.ts'

/** The service's registered port. */
const gpsdPort = 2947
/** An attempt that gets no answer is given up after this time. */
const connectTimeoutMs = 5000
/** JSON requests and answers, one a line (gpsd_json(5)); sentences come between the answers. */
const watchRequest = '?WATCH={"enable":true,"json":false,"nmea":true};\n'
const openBrace = 0x7b
const lineFeed = Uint8Array.of(10)

export interface GpsdSourceOptions {
  /** `gpsd://host[:port]`. */
  address: string
  clock: Clock
  logger: Logger
  retry?: RetryDelayOptions
}

/**
 * Splits `gpsd://host[:port]`.
 * @throws RangeError when it is no such address
 */
export function parseGpsdAddress(address: string): { host: string; port: number } {
  const match = /^gpsd:\/\/(\[[0-9a-fA-F:.]+\]|[^:/\s]+)(?::(\d{1,5}))?\/?$/.exec(address)
  const port = Number(match?.[2] ?? gpsdPort)
  if (!match || port < 1 || port > 65_535) {
    throw new RangeError(`invalid address: ${address} (expected gpsd://host or gpsd://host:port)`)
  }
  return { host: match[1].replace(/^\[|\]$/g, ''), port }
}

/**
 * A position receiver behind a running gpsd. The service is asked for NMEA sentences, which it makes for receivers that speak another language too: so the
 * recording holds plain sentences, whatever the receiver. The service's own messages are read here and go no further.
 */
export function createGpsdSource(options: GpsdSourceOptions): Source {
  const { host, port } = parseGpsdAddress(options.address)
  return createWireSource({
    ...options,
    name: options.address,
    canAsk: false,
    openWire(events) {
      const socket = connect({ host, port, noDelay: true, keepAlive: true })
      let ended = false
      const end = (text: string, cause?: unknown) => {
        if (ended) return
        ended = true
        socket.destroy()
        events.closed(new BridgeError('port_missing', text, { cause }))
      }
      const lines = createRawLines((line) => {
        if (ended) return
        if (line[0] !== openBrace) pass(line, events)
        else {
          const problem = problemOf(line)
          if (problem !== undefined) options.logger.warn(`${options.address}: ${problem}`)
        }
      })
      socket.setTimeout(connectTimeoutMs, () => end(`${options.address} does not answer; trying again`))
      socket.on('connect', () => {
        socket.setTimeout(0)
        socket.write(watchRequest)
        events.opened()
      })
      socket.on('data', (chunk) => lines.push(chunk, 0))
      socket.on('error', (error) => end(`${options.address}: ${errorText(error)}; trying again`, error))
      socket.on('close', () => end(`${options.address} closed the connection; trying again`))
      return {
        write() {},
        close() {
          ended = true
          socket.destroy()
          return Promise.resolve()
        },
      }
    },
  })
}

function pass(line: Uint8Array, events: WireEvents): void {
  events.data(line)
  events.data(lineFeed)
}

/** What a message of the service complains of; undefined for one that is in order. */
function problemOf(line: Uint8Array): string | undefined {
  let message: { class?: unknown; message?: unknown; devices?: unknown }
  try {
    message = JSON.parse(Buffer.from(line).toString('utf8')) as typeof message
  } catch {
    // Long messages come in pieces; none of them is needed.
    return undefined
  }
  if (message.class === 'ERROR') return String(message.message)
  if (message.class === 'DEVICES' && Array.isArray(message.devices) && message.devices.length === 0)
    return 'it has no receiver: plug one in, or name it when gpsd is started'
  return undefined
}
