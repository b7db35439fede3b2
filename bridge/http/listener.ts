import { createServer as createHttpServer, type RequestListener, type Server } from 'node:http'
import type { Socket } from 'node:net'

export interface ListenerLimits {
  /** Headers must be complete after this, ms. Default 5000. */
  headersMs?: number
  /** A request with its body must be complete after this, ms. Default 15 000. */
  requestMs?: number
  /** Most connections from one address; loopback is not counted apart. Default 128: a tablet opens about ten. */
  perAddress?: number
  /** Most connections in all. Default 1024. */
  all?: number
}

export const defaultListenerLimits = Object.freeze({
  headersMs: 5000,
  requestMs: 15_000,
  perAddress: 128,
  all: 1024,
})

const longestHeadersBytes = 16 * 1024

/** An HTTP server whose every wait and count has a bound. */
export function createLimitedServer(handler: RequestListener, limits: ListenerLimits = {}): Server {
  const { headersMs, requestMs, perAddress, all } = { ...defaultListenerLimits, ...limits }
  const server = createHttpServer(
    {
      headersTimeout: headersMs,
      requestTimeout: requestMs,
      connectionsCheckingInterval: 1000,
      keepAliveTimeout: 10_000,
      maxHeaderSize: longestHeadersBytes,
      noDelay: true,
    },
    handler,
  )
  server.maxHeadersCount = 100
  server.maxConnections = all
  limitPerAddress(server, perAddress)
  return server
}

function limitPerAddress(server: Server, most: number): void {
  const open = new Map<string, number>()
  server.on('connection', (socket: Socket) => {
    const address = socket.remoteAddress ?? ''
    const count = (open.get(address) ?? 0) + 1
    if (count > most) {
      socket.destroy()
      return
    }
    open.set(address, count)
    socket.once('close', () => {
      const left = (open.get(address) ?? 1) - 1
      if (left > 0) open.set(address, left)
      else open.delete(address)
    })
  })
}
