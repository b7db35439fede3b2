import * as z from 'zod'
import type { PairedClient, PairingOffer } from '../../../core/contract/api.ts'
import { cookieName } from '../../security/access.ts'
import { listLanAddresses } from '../../security/hosts.ts'
import { pairingPath } from '../pairingPage.ts'
import { HttpProblem } from '../problem.ts'
import { type RouteContext, requireController, requireLoopback } from './routeContext.ts'

const proofSchema = z.union([
  z.strictObject({ token: z.string().regex(/^[A-Za-z0-9_-]{32}$/) }),
  z.strictObject({ code: z.string().regex(/^\d{6}$/) }),
])
const clientParamsSchema = z.strictObject({ id: z.string().regex(/^[0-9a-f]{16}$/) })
const clientChangeSchema = z.strictObject({
  name: z.string().min(1).max(60).optional(),
  role: z.enum(['viewer', 'controller']).optional(),
})
const pairingSchema = z.strictObject({ role: z.enum(['viewer', 'controller']).default('controller') })

/** A year: a tablet that rode along last season need not be paired again. */
const cookieLifeS = 365 * 24 * 3600

/** A first name for a device, from what its browser says of itself; never shown as proof of anything. */
function nameOf(userAgent: string | undefined): string {
  const match = /iPad|iPhone|Android|Windows|Macintosh|CrOS|Linux/.exec(userAgent ?? '')
  return match ? match[0].replace('Macintosh', 'Mac') : 'device'
}

/** Makes the link, code and QR of a one-time pairing, one a network interface. */
export async function createPairingOffer(
  { pairing, port, scheme }: RouteContext,
  role: 'viewer' | 'controller',
): Promise<PairingOffer> {
  const { default: qrcode } = await import('qrcode')
  const { token, code, lifeMs } = pairing.offer(role)
  const links = []
  for (const { interfaceName, address } of listLanAddresses()) {
    const url = `${scheme()}://${address}:${port()}${pairingPath}#pair=${token}`
    links.push({
      interfaceName,
      url,
      qrSvg: await qrcode.toString(url, { type: 'svg', margin: 4, errorCorrectionLevel: 'M' }),
    })
  }
  return { links, code, seconds: Math.round(lifeMs / 1000) }
}

/** Pairing, and the list of what is paired. */
export function addClientRoutes(context: RouteContext): void {
  const { app, bridge, clients, pairing, lan, scheme, socketsOf } = context

  app.post<{ Body: z.infer<typeof proofSchema> }>(
    '/api/pair',
    { schema: { body: proofSchema }, bodyLimit: 1024 },
    async ({ body, headers }, reply) => {
      if (!lan) throw new HttpProblem(409, 'no_lan', 'start the bridge with --lan to pair devices')
      const role = pairing.take(body)
      if (role === 'too_many') {
        throw new HttpProblem(429, 'too_many', 'too many tries: wait a minute, or scan the code')
      }
      if (role === 'wrong') {
        throw new HttpProblem(403, 'wrong_pairing', 'this link or code is used up or wrong: make a new one')
      }
      const name = nameOf(headers['user-agent'])
      const { id, cookie } = await clients.add(name, role, bridge.options.clock.wallMs())
      bridge.options.logger.info(`paired ${name} (${id}) as ${role}`)
      const secure = scheme() === 'https' ? '; Secure' : ''
      reply.header(
        'set-cookie',
        `${cookieName}=${cookie}; Path=/; Max-Age=${cookieLifeS}; HttpOnly; SameSite=Strict${secure}`,
      )
      return { id, role }
    },
  )

  // Who comes by a link and is let in already has nothing to pair.
  app.get(pairingPath, (_request, reply) => reply.redirect('/'))

  app.post<{ Body: z.infer<typeof pairingSchema> }>(
    '/api/pairing',
    { onRequest: requireLoopback, schema: { body: pairingSchema } },
    async ({ body }) => {
      if (!lan) throw new HttpProblem(409, 'no_lan', 'start the bridge with --lan to pair devices')
      return await createPairingOffer(context, body.role)
    },
  )

  app.get(
    '/api/clients',
    { onRequest: requireController },
    async (): Promise<PairedClient[]> => clients.list(),
  )

  app.patch<{ Params: { id: string }; Body: z.infer<typeof clientChangeSchema> }>(
    '/api/clients/:id',
    { onRequest: requireController, schema: { params: clientParamsSchema, body: clientChangeSchema } },
    async (request) => {
      const { params, body } = request
      if (body.role !== undefined) await requireLoopback(request)
      if (!(await clients.change(params.id, body))) throw new HttpProblem(404, 'no_client', 'no such device')
      // An open stream was let in under the old role.
      if (body.role !== undefined) cut(params.id)
      return clients.list().find(({ id }) => id === params.id)
    },
  )

  app.delete<{ Params: { id: string } }>(
    '/api/clients/:id',
    { onRequest: requireController, schema: { params: clientParamsSchema } },
    async ({ params }, reply) => {
      if (!(await clients.revoke(params.id))) throw new HttpProblem(404, 'no_client', 'no such device')
      cut(params.id)
      bridge.options.logger.info(`revoked ${params.id}`)
      return reply.code(204).send()
    },
  )

  function cut(id: string): void {
    for (const socket of socketsOf.get(id) ?? []) socket.terminate()
  }
}
