import { connect } from 'node:net'
import { BridgeError, errorText } from '../bridgeError.ts'
import type { Clock } from '../clock.ts'
import type { Logger } from '../logger.ts'
import type { RetryDelayOptions } from './retryDelay.ts'
import type { Source } from './source.ts'
import { createWireSource } from './wireSource.ts'

export interface TcpSourceOptions {
  /** `tcp://host:port`. */
  address: string
  clock: Clock
  logger: Logger
  canAsk?: boolean
  retry?: RetryDelayOptions
}

/** An attempt that gets no answer is given up after this time. */
const connectTimeoutMs = 5000

/**
 * Splits `tcp://host:port`.
 * @throws RangeError when it is no such address
 */
export function parseTcpAddress(address: string): { host: string; port: number } {
  const match = /^tcp:\/\/(\[[0-9a-fA-F:.]+\]|[^:/\s]+):(\d{1,5})\/?$/.exec(address)
  const port = Number(match?.[2])
  if (!match || port < 1 || port > 65_535) {
    throw new RangeError(`invalid address: ${address} (expected tcp://host:port)`)
  }
  return { host: match[1].replace(/^\[|\]$/g, ''), port }
}

/** A board, or a simulator, behind a network address. */
export function createTcpSource(options: TcpSourceOptions): Source {
  const { host, port } = parseTcpAddress(options.address)
  return createWireSource({
    ...options,
    name: options.address,
    openWire(events) {
      const socket = connect({ host, port, noDelay: true, keepAlive: true })
      let ended = false
      const end = (text: string, cause?: unknown) => {
        if (ended) return
        ended = true
        socket.destroy()
        events.closed(new BridgeError('port_missing', text, { cause }))
      }
      socket.setTimeout(connectTimeoutMs, () => end(`${options.address} does not answer; trying again`))
      socket.on('connect', () => {
        socket.setTimeout(0)
        events.opened()
      })
      socket.on('data', (chunk) => {
        if (!ended) events.data(chunk)
      })
      socket.on('error', (error) => end(`${options.address}: ${errorText(error)}; trying again`, error))
      socket.on('close', () => end(`${options.address} closed the connection; trying again`))
      return {
        write(text) {
          socket.write(text)
        },
        close() {
          ended = true
          socket.destroy()
          return Promise.resolve()
        },
      }
    },
  })
}
