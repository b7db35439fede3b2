import { createServer as createHttpServer, type RequestListener, type Server } from 'node:http'
import { createServer as createHttpsServer, type Server as HttpsServer } from 'node:https'
import type { Socket } from 'node:net'

export interface ListenerLimits {
  /** Headers must be complete after this, ms. Default 5000. */
  headersMs?: number
  /** A request with its body must be complete after this, ms. Default 15 000. */
  requestMs?: number
  /** Most connections from one address. Default 128: a tablet opens about ten. One more takes the place of the oldest that asked for nothing yet. */
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
/** First byte of every encrypted connection: a handshake record (RFC 8446, 5.1). */
const handshakeRecord = 0x16

function serverOptions({ headersMs, requestMs }: Required<ListenerLimits>) {
  return {
    headersTimeout: headersMs,
    requestTimeout: requestMs,
    connectionsCheckingInterval: 1000,
    keepAliveTimeout: 10_000,
    maxHeaderSize: longestHeadersBytes,
    noDelay: true,
    // A request without a host is refused with a problem document by the check of hosts.
    requireHostHeader: false,
  }
}

/** An HTTP server whose every wait and count has a bound. */
export function createLimitedServer(handler: RequestListener, options: ListenerLimits = {}): Server {
  const limits = { ...defaultListenerLimits, ...options }
  const server = createHttpServer(serverOptions(limits), handler)
  server.maxHeadersCount = 100
  server.maxConnections = limits.all
  const { admit, heard } = createAdmission(limits.perAddress)
  server.prependListener('connection', (socket: Socket) => {
    admit(socket)
  })
  server.prependListener('request', ({ socket }) => heard(socket))
  server.prependListener('upgrade', ({ socket }) => heard(socket))
  return server
}

/**
 * One port for both: encrypted connections go to the handler, plain ones to `plain` (the owner on the machine itself, and strangers who
 * need the page that tells how to trust it).
 */
export function createMixedServer(
  handler: RequestListener,
  plain: RequestListener,
  certificate: { cert: string; key: string },
  options: ListenerLimits = {},
): { server: HttpsServer; plainServer: Server } {
  const limits = { ...defaultListenerLimits, ...options }
  const server = createHttpsServer(
    { ...serverOptions(limits), ...certificate, minVersion: 'TLSv1.2', handshakeTimeout: limits.headersMs },
    handler,
  )
  const plainServer = createHttpServer(serverOptions(limits), plain)
  server.maxHeadersCount = 100
  plainServer.maxHeadersCount = 100
  server.maxConnections = limits.all
  const { admit, heard } = createAdmission(limits.perAddress)
  plainServer.prependListener('request', ({ socket }) => heard(socket))
  plainServer.prependListener('upgrade', ({ socket }) => heard(socket))
  const takeEncrypted = server.listeners('connection') as ((socket: Socket) => void)[]
  server.removeAllListeners('connection')
  server.on('connection', (socket: Socket) => {
    if (!admit(socket)) return
    // Nothing is known of a connection that says nothing: it gets as long as headers do.
    const timer = setTimeout(() => socket.destroy(), limits.headersMs)
    const onError = () => socket.destroy()
    socket.on('error', onError)
    socket.on('close', () => clearTimeout(timer))
    socket.once('data', (first) => {
      clearTimeout(timer)
      socket.pause()
      socket.off('error', onError)
      socket.unshift(first)
      if (first[0] === handshakeRecord) {
        heard(socket)
        for (const take of takeEncrypted) take.call(server, socket)
      } else plainServer.emit('connection', socket)
      process.nextTick(() => socket.resume())
    })
  })
  return { server, plainServer }
}

interface Admission {
  /** Takes a connection, or cuts it and says false. */
  admit(socket: Socket): boolean
  /** The connection asked for something: it is no half-open one. */
  heard(socket: Socket): void
}

/** Counts connections by address. One too many takes the place of the oldest half-open one, so that many of those keep nobody out; without any it is cut at once. */
function createAdmission(most: number): Admission {
  const open = new Map<string, Set<Socket>>()
  const asked = new WeakSet<Socket>()
  return {
    heard: (socket) => asked.add(socket),
    admit(socket) {
      const address = socket.remoteAddress ?? ''
      const others = open.get(address) ?? new Set<Socket>()
      if (others.size >= most) {
        let oldest: Socket | undefined
        for (const other of others) {
          if (asked.has(other)) continue
          oldest = other
          break
        }
        if (!oldest) {
          socket.destroy()
          return false
        }
        others.delete(oldest)
        oldest.destroy()
      }
      others.add(socket)
      open.set(address, others)
      socket.once('close', () => {
        others.delete(socket)
        if (others.size === 0 && open.get(address) === others) open.delete(address)
      })
      return true
    },
  }
}
