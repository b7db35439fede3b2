import { connect, type Socket } from 'node:net'
import { BridgeError, errorText } from '../bridgeError.ts'
import type { Wire, WireEvents } from './wireSource.ts'

/** Room for what is read at a time, bytes: some 0.2 s of a 921600 baud wire. */
const readBytes = 16 * 1024
/** An attempt that gets no answer is given up after this time. */
const connectTimeoutMs = 5000

export interface NetworkAddress {
  host: string
  port: number
}

/**
 * Splits `scheme://host:port`; IPv6 hosts stand in brackets.
 * @param defaultPort used when the address names none; without it a port must be there
 * @throws RangeError when it is no such address
 */
export function parseNetworkAddress(scheme: string, address: string, defaultPort?: number): NetworkAddress {
  const match = /^([a-z]+):\/\/(\[[0-9a-fA-F:.]+\]|[^:/\s]+)(?::(\d{1,5}))?\/?$/.exec(address)
  const port = Number(match?.[3] ?? defaultPort)
  if (match?.[1] !== scheme || !(port >= 1 && port <= 65_535)) {
    const short = defaultPort === undefined ? '' : `${scheme}://host or `
    throw new RangeError(`invalid address: ${address} (expected ${short}${scheme}://host:port)`)
  }
  return { host: match[2].replace(/^\[|\]$/g, ''), port }
}

export interface SocketWireOptions extends NetworkAddress {
  /** The address as the owner wrote it, for messages. */
  name: string
  /** What is done with bytes, which are valid during the call only; default they are the wire's. */
  onData?: (chunk: Uint8Array) => void
  /** Called once it is connected, before `opened`. */
  onConnect?: (socket: Socket) => void
}

/** One attempt at a network address as a wire. */
export function openSocketWire(options: SocketWireOptions, events: WireEvents): Wire {
  const { host, port, name, onConnect, onData = (chunk) => events.data(chunk) } = options
  let ended = false
  const socket = connect({
    host,
    port,
    noDelay: true,
    keepAlive: true,
    // Read into one piece of memory: a stream's own reading takes 64 kB anew for each line of the board.
    onread: {
      buffer: new Uint8Array(readBytes),
      callback(count, bytes) {
        if (!ended) onData(bytes.subarray(0, count))
        return true
      },
    },
  })
  // Nothing comes by the stream, but its end does.
  socket.resume()
  const end = (text: string, cause?: unknown) => {
    if (ended) return
    ended = true
    socket.destroy()
    events.closed(new BridgeError('port_missing', text, { cause }))
  }
  socket.setTimeout(connectTimeoutMs, () => end(`${name} does not answer; trying again`))
  socket.on('connect', () => {
    socket.setTimeout(0)
    onConnect?.(socket)
    events.opened()
  })
  socket.on('error', (error) => end(`${name}: ${errorText(error)}; trying again`, error))
  socket.on('close', () => end(`${name} closed the connection; trying again`))
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
}
