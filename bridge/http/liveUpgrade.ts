import type { IncomingMessage, Server } from 'node:http'
import type { Duplex } from 'node:stream'
import { streamProtocol } from '../../core/contract/stream.ts'
import { errorText } from '../bridgeError.ts'
import type { createAccess } from '../security/access.ts'
import { createRateLimit } from '../security/rateLimit.ts'
import { refuse } from './problem.ts'
import type { RouteContext } from './routes/routeContext.ts'

/** New live streams a minute and address: a page that reconnects with growing delays stays far below. */
const upgradesPerMinute = 120

/** Lets pages in to `GET /live`; every other upgrade is refused. */
export function addLiveUpgrade(
  server: Server,
  context: RouteContext,
  access: ReturnType<typeof createAccess>,
): void {
  const { bridge, socketsOf } = context
  const { stream } = bridge
  const upgrades = createRateLimit({ calls: upgradesPerMinute, periodMs: 60_000 })
  server.on('upgrade', (request: IncomingMessage, socket: Duplex, head: Buffer) => {
    socket.on('error', (error) => bridge.options.logger.info(`live page: ${errorText(error)}`))
    const path = request.url?.split('?')[0]
    if (path !== '/live') return refuse(socket, 404, 'not_found', 'the live stream is at /live')
    if (!upgrades.take(request.socket.remoteAddress ?? '')) {
      return refuse(socket, 429, 'too_many', 'too many connections: wait a minute')
    }
    const judged = access.judge({
      remoteAddress: request.socket.remoteAddress,
      headers: request.headers,
      encrypted: (request.socket as { encrypted?: boolean }).encrypted === true,
    })
    if (!judged.ok) return refuse(socket, judged.status, judged.code, judged.detail)
    const offered = (request.headers['sec-websocket-protocol'] ?? '').split(',').map((name) => name.trim())
    if (!offered.includes(streamProtocol)) {
      return refuse(socket, 400, 'wrong_protocol', `the live stream speaks ${streamProtocol} only`)
    }
    if (stream.isFull) return refuse(socket, 503, 'full', 'too many pages are open: close one')
    stream.sockets.handleUpgrade(request, socket, head, (upgraded) => {
      stream.accept(upgraded, judged.role)
      const { clientId } = judged
      if (clientId === undefined) return
      const open = socketsOf.get(clientId) ?? new Set()
      socketsOf.set(clientId, open.add(upgraded))
      upgraded.on('close', () => {
        open.delete(upgraded)
        if (open.size === 0) socketsOf.delete(clientId)
      })
    })
  })
}
