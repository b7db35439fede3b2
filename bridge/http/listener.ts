import { createServer as createHttpServer, type RequestListener, type Server } from 'node:http'
import { createServer as createHttpsServer, type Server as HttpsServer } from 'node:https'
import type { Socket } from 'node:net'

export interface ListenerLimits {
  /** Headers must be complete after this, ms. Default 5000. */
  headersMs?: number
  /** A request with its body must be complete after this, ms. Default 15 000. */
  requestMs?: number
  /** Most connections from one address. Default 128: a tablet opens about ten. */
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
  const admit = createAdmission(limits.perAddress)
  server.prependListener('connection', (socket: Socket) => {
    admit(socket)
  })
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
  const admit = createAdmission(limits.perAddress)
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
      if (first[0] === handshakeRecord) for (const take of takeEncrypted) take.call(server, socket)
      else plainServer.emit('connection', socket)
      process.nextTick(() => socket.resume())
    })
  })
  return { server, plainServer }
}

/** Counts connections by address; one too many is cut at once. */
function createAdmission(most: number): (socket: Socket) => boolean {
  const open = new Map<string, number>()
  return (socket) => {
    const address = socket.remoteAddress ?? ''
    const count = (open.get(address) ?? 0) + 1
    if (count > most) {
      socket.destroy()
      return false
    }
    open.set(address, count)
    socket.once('close', () => {
      const left = (open.get(address) ?? 1) - 1
      if (left > 0) open.set(address, left)
      else open.delete(address)
    })
    return true
  }
}
