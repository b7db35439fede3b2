import type { FastifyInstance, FastifyRequest } from 'fastify'
import type { WebSocket } from 'ws'
import * as z from 'zod'
import type { Bridge } from '../../bridge.ts'
import type { ClientStore } from '../../security/clientStore.ts'
import type { Pairing } from '../../security/pairing.ts'
import { carIdPattern, runFilePattern, sessionPattern } from '../../store/runId.ts'
import { HttpProblem } from '../problem.ts'

/** What the routes share. */
export interface RouteContext {
  app: FastifyInstance
  bridge: Bridge
  lan: boolean
  clients: ClientStore
  pairing: Pairing
  port: () => number
  scheme: () => 'http' | 'https'
  /** Open live sockets by paired client, so that revoking cuts them. */
  socketsOf: Map<string, Set<WebSocket>>
}

export const runParamsSchema = z.strictObject({
  car: z.string().regex(carIdPattern),
  session: z.string().regex(sessionPattern),
  file: z
    .string()
    .regex(runFilePattern)
    .refine((name) => !name.includes('..')),
})
export type RunParams = z.infer<typeof runParamsSchema>

export const carParamsSchema = z.strictObject({ car: z.string().regex(carIdPattern) })

/** @throws HttpProblem 403 unless the caller may change things */
export async function requireController(request: FastifyRequest): Promise<void> {
  if (request.access?.role !== 'controller') {
    throw new HttpProblem(
      403,
      'viewer',
      'this device may look but not change: ask for it to be made a controller',
    )
  }
}

/** @throws HttpProblem 403 unless the caller sits at the bridge's own machine */
export async function requireLoopback(request: FastifyRequest): Promise<void> {
  if (!request.access?.loopback) {
    throw new HttpProblem(
      403,
      'loopback_only',
      "this is done on the bridge's own machine: open it there as localhost",
    )
  }
}
