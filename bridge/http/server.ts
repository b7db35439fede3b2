import { existsSync } from 'node:fs'
import type { RequestListener, Server } from 'node:http'
import type { Server as HttpsServer } from 'node:https'
import { join } from 'node:path'
import fastifyStatic from '@fastify/static'
import fastify, { type FastifyInstance, type FastifyReply, type FastifyRequest } from 'fastify'
import type * as z from 'zod'
import { plainIssue } from '../../core/contract/plainIssue.ts'
import { streamProtocol } from '../../core/contract/stream.ts'
import type { Bridge } from '../bridge.ts'
import { errorText } from '../bridgeError.ts'
import { findPackageRoot } from '../packageRoot.ts'
import { createAccess, type Granted } from '../security/access.ts'
import type { LocalAuthority } from '../security/certificates.ts'
import { ClientStore } from '../security/clientStore.ts'
import { securityHeaders } from '../security/headers.ts'
import { isLoopbackName, listLanAddresses, parseHost } from '../security/hosts.ts'
import { Pairing, type PairingOptions } from '../security/pairing.ts'
import { createRateLimit } from '../security/rateLimit.ts'
import { addErrorAnswers, answerBrokenRequest, answerError, explainListenProblem } from './errorAnswers.ts'
import { createLimitedServer, createMixedServer, type ListenerLimits } from './listener.ts'
import { addLiveUpgrade } from './liveUpgrade.ts'
import { pairingPage, pairingPagePolicy, pairingPath } from './pairingPage.ts'
import { createProblem, HttpProblem, problemType } from './problem.ts'
import { parseJsonBody } from './readBody.ts'
import { addAnalysisRoutes } from './routes/analysisRoutes.ts'
import { addCarRoutes } from './routes/carRoutes.ts'
import { addClientRoutes } from './routes/clientRoutes.ts'
import { addLinkRoutes } from './routes/linkRoutes.ts'
import { addRecordingRoutes } from './routes/recordingRoutes.ts'
import type { RouteContext } from './routes/routeContext.ts'
import { addRunRoutes } from './routes/runRoutes.ts'
import type { ServedRoute } from './servedRoutes.ts'
import { createPlainHandler } from './trustPage.ts'

declare module 'fastify' {
  interface FastifyRequest {
    access?: Granted
  }
}

export interface ServerOptions {
  bridge: Bridge
  lan: boolean
  /** Directory of the built dashboard; default `dist/web` of the package. */
  webDir?: string
  limits?: ListenerLimits
  pairing?: PairingOptions
  /** Encrypt for the network, with this authority. */
  authority?: LocalAuthority
}

export interface BridgeServer {
  readonly app: FastifyInstance
  readonly context: RouteContext
  /** Every method and address that is answered, parameters as `:name`: what a check of all of them walks over. */
  readonly routes: readonly ServedRoute[]
  /** @throws BridgeError `address_in_use` */
  listen(host: string, port: number): Promise<number>
  close(): Promise<void>
}

/** Bodies are small JSON: the largest is a parts box. */
const longestBodyBytes = 256 * 1024
/** Requests of callers that are let in, a minute and address. */
const requestsPerMinute = 1200
/** Addresses of the machine are looked at this often, ms. */
const addressesEveryMs = 5000
/** A certificate is replaced long before it ends, ms. */
const reissueMs = 30 * 24 * 3600 * 1000
/** Answers under way when the server ends have so long, ms. */
const graceMs = 500
/** Refused requests a minute and address, before the answer is only 429. */
const refusalsPerMinute = 60

/** The bridge's HTTP side: API, live stream's door, and the dashboard's files. */
export async function createBridgeServer(options: ServerOptions): Promise<BridgeServer> {
  const { bridge, lan } = options
  const clients = new ClientStore(bridge.options.dataDir)
  await clients.load()
  const pairing = new Pairing(options.pairing)
  const { authority } = options
  const wallMs = () => bridge.options.clock.wallMs()
  const access = createAccess({ lan, clients, nowMs: wallMs, onlyEncrypted: authority !== undefined })
  const certificate = await authority?.issue(wallMs())
  let plainServer: Server | undefined
  const serverFactory = (handler: RequestListener): Server => {
    if (!authority || !certificate) return createLimitedServer(handler, options.limits)
    const plain = createPlainHandler({ owner: handler, authorityPem: authority.certificatePem })
    const mixed = createMixedServer(handler, plain, certificate, options.limits)
    plainServer = mixed.plainServer
    return mixed.server
  }
  const app = fastify({
    bodyLimit: longestBodyBytes,
    routerOptions: { maxParamLength: 200 },
    serverFactory,
    forceCloseConnections: true,
    // An address that is no address, and a request that is none, get a problem document too.
    frameworkErrors: (error, _request, reply) => answerError(error, reply as unknown as FastifyReply),
    clientErrorHandler: answerBrokenRequest,
  })
  const routes: ServedRoute[] = []
  app.addHook('onRoute', ({ method, url }) => {
    for (const one of [method].flat()) routes.push({ method: one, url })
  })
  app.setValidatorCompiler(({ schema }) => (data) => {
    const parsed = (schema as z.ZodType).safeParse(data, { error: plainIssue })
    return parsed.success ? { value: parsed.data } : { error: parsed.error }
  })
  app.removeAllContentTypeParsers()
  app.addContentTypeParser('application/json', { parseAs: 'string' }, (_request, body, done) => {
    try {
      done(null, parseJsonBody(body as string))
    } catch (error) {
      done(error as Error, undefined)
    }
  })
  addErrorAnswers(app, routes, bridge.options.logger)

  const calls = createRateLimit({ calls: requestsPerMinute, periodMs: 60_000 })
  const refusals = createRateLimit({ calls: refusalsPerMinute, periodMs: 60_000 })
  app.addHook('onRequest', async (request, reply) => {
    setSecurityHeaders(request, reply)
    const judged = access.judge({
      remoteAddress: request.raw.socket.remoteAddress,
      headers: request.headers,
      encrypted: isEncrypted(request),
    })
    const address = request.ip
    if (judged.ok) {
      if (!judged.loopback && !calls.take(address)) {
        throw new HttpProblem(429, 'too_many', 'too many requests: wait a minute')
      }
      request.access = judged
      return
    }
    if (!refusals.take(address)) throw new HttpProblem(429, 'too_many', 'too many requests: wait a minute')
    if (judged.code === 'not_paired') {
      if (request.method === 'POST' && request.routeOptions.url === '/api/pair') return
      if (wantsPage(request)) {
        reply.header('content-security-policy', pairingPagePolicy)
        // A refusal of the very page that a pairing link opens would stand as an error in the browser's console.
        const code = request.routeOptions.url === pairingPath ? 200 : 401
        return reply.code(code).type('text/html; charset=utf-8').send(pairingPage)
      }
    }
    throw new HttpProblem(judged.status, judged.code, judged.detail)
  })

  const context: RouteContext = {
    app,
    bridge,
    lan,
    clients,
    pairing,
    port: () => {
      const address = app.server.address()
      return typeof address === 'object' && address ? address.port : 0
    },
    scheme: () => (authority ? 'https' : 'http'),
    socketsOf: new Map(),
  }
  addRunRoutes(context)
  addRecordingRoutes(context)
  addCarRoutes(context)
  addAnalysisRoutes(context)
  addClientRoutes(context)
  addLinkRoutes(context)
  app.get('/live', (_request, reply) => {
    const detail = `this is a WebSocket: open it with the subprotocol ${streamProtocol}`
    void reply
      .code(426)
      .headers({ upgrade: 'websocket', connection: 'Upgrade' })
      .type(problemType)
      .send(createProblem(426, 'upgrade_wanted', detail))
  })
  await addDashboard(app, options.webDir ?? join(findPackageRoot(), 'dist', 'web'))
  addLiveUpgrade(app.server, context, access)
  if (plainServer) addLiveUpgrade(plainServer, context, access)
  const renewal = authority && followAddresses(app.server as HttpsServer, authority, bridge)
  await app.ready()

  return {
    app,
    context,
    routes,
    async listen(host, port) {
      try {
        await app.listen({ host, port })
      } catch (error) {
        throw explainListenProblem(error, host, port)
      }
      return context.port()
    },
    async close() {
      clearInterval(renewal)
      plainServer?.closeAllConnections()
      // Answers under way are finished; a connection that a browser holds ready without a request would keep it open for minutes.
      const cut = setTimeout(() => app.server.closeAllConnections(), graceMs)
      await app.close()
      clearTimeout(cut)
    },
  }
}

/** A tablet's hotspot may come up later: the certificate must name the address the machine then has. */
function followAddresses(server: HttpsServer, authority: LocalAuthority, bridge: Bridge): NodeJS.Timeout {
  const addresses = () => JSON.stringify(listLanAddresses())
  let known = addresses()
  let issuedMs = performance.now()
  return setInterval(() => {
    const now = addresses()
    if (now === known && performance.now() - issuedMs < reissueMs) return
    known = now
    issuedMs = performance.now()
    authority.issue(bridge.options.clock.wallMs()).then(
      (certificate) => server.setSecureContext(certificate),
      (error: unknown) => bridge.options.logger.error(`certificate: ${errorText(error)}`),
    )
  }, addressesEveryMs)
}

function isEncrypted(request: FastifyRequest): boolean {
  return (request.raw.socket as { encrypted?: boolean }).encrypted === true
}

function setSecurityHeaders(request: FastifyRequest, reply: FastifyReply): void {
  const host = parseHost(request.headers.host)
  const name = host && (isLoopbackName(host.name) || request.headers.host) ? (request.headers.host ?? '') : ''
  const isSecure = isEncrypted(request) || (host !== undefined && isLoopbackName(host.name))
  reply.headers(securityHeaders(host ? name : 'localhost', isSecure))
  reply.header('cache-control', 'no-store')
}

/** True for a person's browser that opens a page. */
function wantsPage(request: FastifyRequest): boolean {
  return request.method === 'GET' && (request.headers.accept ?? '').includes('text/html')
}

async function addDashboard(app: FastifyInstance, webDir: string): Promise<void> {
  if (!existsSync(join(webDir, 'index.html'))) {
    app.get('/', (_request, reply) => {
      void reply
        .code(503)
        .type('text/plain; charset=utf-8')
        .send('The pages are not built yet. Run: npm run build\n')
    })
    return
  }
  await app.register(fastifyStatic, {
    root: webDir,
    wildcard: false,
    dotfiles: 'ignore',
    cacheControl: false,
    setHeaders: (reply, path) => {
      // Built files carry a hash of their content in the name, but for the few at the top.
      const isHashed = path.includes(`${join(webDir, 'assets')}`)
      reply.setHeader('cache-control', isHashed ? 'private, max-age=31536000, immutable' : 'no-cache')
    },
  })
}
