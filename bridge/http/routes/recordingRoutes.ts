import { statfs } from 'node:fs/promises'
import * as z from 'zod'
import type { Status } from '../../../core/contract/api.ts'
import { airSchema } from '../../../core/contract/car.ts'
import { BridgeError } from '../../bridgeError.ts'
import { listLanAddresses } from '../../security/hosts.ts'
import { carIdPattern } from '../../store/runId.ts'
import { type RouteContext, requireController } from './routeContext.ts'

const recordingSchema = z.strictObject({ on: z.boolean(), car: z.string().regex(carIdPattern).optional() })
const markSchema = z.strictObject({ label: z.string().max(200).default('') })
const noteSchema = z.strictObject({ text: z.string().min(1).max(4000) })
const carSchema = z.strictObject({ car: z.string().regex(carIdPattern) })

/** Free bytes of the data directory's disk, NaN when the system does not tell. */
async function freeBytes(directory: string): Promise<number> {
  try {
    const { bavail, bsize } = await statfs(directory)
    return bavail * bsize
  } catch {
    return Number.NaN
  }
}

/** Status, recording on and off, marks, notes, car and air of the day. */
export function addRecordingRoutes({ app, bridge, lan, port, scheme }: RouteContext): void {
  const change = { onRequest: requireController }

  app.get('/api/status', async (request): Promise<Status> => {
    const free = await freeBytes(bridge.options.dataDir)
    return {
      version: bridge.options.version,
      car: bridge.car,
      sources: bridge.sources,
      recording: bridge.recorder.status,
      loopback: request.access?.loopback ?? false,
      role: request.access?.role ?? 'viewer',
      lan,
      addresses: lan ? listLanAddresses().map(({ address }) => `${scheme()}://${address}:${port()}`) : [],
      diskFreeBytes: free,
      ...(bridge.air && { air: bridge.air }),
    }
  })

  app.post<{ Body: z.infer<typeof recordingSchema> }>(
    '/api/recording',
    { ...change, schema: { body: recordingSchema } },
    async ({ body }) => {
      if (body.on) return await bridge.startRecording(false, body.car)
      if (!bridge.recorder.isOn) throw new BridgeError('not_recording', 'no recording is on')
      return await bridge.recorder.stop('stopped by hand')
    },
  )

  app.post<{ Body: z.infer<typeof markSchema> }>(
    '/api/marks',
    { ...change, schema: { body: markSchema } },
    async ({ body }) => bridge.mark(body.label),
  )

  app.post<{ Body: z.infer<typeof noteSchema> }>(
    '/api/notes',
    { ...change, schema: { body: noteSchema } },
    async ({ body }) => {
      if (!bridge.recorder.isOn) throw new BridgeError('not_recording', 'no recording is on to take the note')
      return bridge.record({ type: 'note', text: body.text })
    },
  )

  app.post<{ Body: z.infer<typeof carSchema> }>(
    '/api/car',
    { ...change, schema: { body: carSchema } },
    async ({ body }) => {
      await bridge.chooseCar(body.car)
      return { car: bridge.car }
    },
  )

  app.post<{ Body: z.infer<typeof airSchema> }>(
    '/api/air',
    { ...change, schema: { body: airSchema } },
    async ({ body }) => {
      await bridge.setAir(body)
      return body
    },
  )
}
