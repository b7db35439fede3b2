import { createReadStream } from 'node:fs'
import { stat } from 'node:fs/promises'
import { pipeline, type Readable } from 'node:stream'
import { constants, createGzip } from 'node:zlib'
import type { FastifyReply, FastifyRequest } from 'fastify'
import { type CaptureRecord, captureRecordSchema } from '../../../core/contract/records.ts'
import { openRun } from '../../analysis/openRun.ts'
import { errorText } from '../../bridgeError.ts'
import { isPackedFile } from '../../isPackedFile.ts'
import { HttpProblem } from '../problem.ts'
import { type RouteContext, type RunParams, requireController, runParamsSchema } from './routeContext.ts'

/** Records that an owner may add after the drive; start and stop belong to the recorder. */
const laterTypes = new Set(['title', 'note', 'fitted', 'air', 'car'])
const laterRecordSchema = captureRecordSchema.refine((record) => laterTypes.has(record.type), {
  message: `expected one of ${[...laterTypes].join(', ')}`,
})

export const runIdOf = ({ car, session, file }: RunParams) => `${car}/${session}/${file}`

/** @throws HttpProblem 404 when there is no such run */
export async function requireRunPath({ bridge }: RouteContext, params: RunParams): Promise<string> {
  const path = await bridge.runs.path(runIdOf(params))
  if (!path) throw new HttpProblem(404, 'no_run', 'there is no such run')
  return path
}

/** The list of runs, their bytes, and records added later. */
export function addRunRoutes(context: RouteContext): void {
  const { app, bridge } = context
  app.get('/api/runs', async () => {
    const { status } = bridge.recorder
    return await bridge.runs.list(status.on ? status.run : undefined)
  })

  app.get<{ Params: RunParams }>(
    '/api/runs/:car/:session/:file/bytes',
    { schema: { params: runParamsSchema } },
    async (request, reply) => {
      await sendBytes(await requireRunPath(context, request.params), request, reply)
      return reply
    },
  )

  app.post<{ Params: RunParams; Body: CaptureRecord }>(
    '/api/runs/:car/:session/:file/records',
    { onRequest: requireController, schema: { params: runParamsSchema, body: laterRecordSchema } },
    async ({ params, body }) => {
      const id = runIdOf(params)
      const { status } = bridge.recorder
      if (status.on && status.run === id) bridge.record(body)
      else await bridge.runs.append(id, body)
      return { run: id, record: body }
    },
  )
}

/** First and last byte of a `Range: bytes=…` with one range; undefined for none that we serve. */
export function parseRange(header: string | undefined, size: number): [number, number] | 'bad' | undefined {
  const match = /^bytes=(\d*)-(\d*)$/.exec(header ?? '')
  if (!match || (match[1] === '' && match[2] === '')) return undefined
  const start = match[1] === '' ? Math.max(0, size - Number(match[2])) : Number(match[1])
  const end = match[1] === '' || match[2] === '' ? size - 1 : Math.min(size - 1, Number(match[2]))
  return start <= end && start < size ? [start, end] : 'bad'
}

/** Piece in which a packed run is read, bytes. */
const PIECE_BYTES = 1 << 16

async function sendBytes(path: string, request: FastifyRequest, reply: FastifyReply): Promise<void> {
  const { size, mtimeMs } = await stat(path)
  const tag = `"${size.toString(36)}-${Math.round(mtimeMs).toString(36)}"`
  reply.header('etag', tag).header('vary', 'accept-encoding').header('cache-control', 'no-cache')
  reply.type('text/plain; charset=us-ascii')
  if (request.headers['if-none-match'] === tag) {
    void reply.code(304).send()
    return
  }
  const takesGzip = /\bgzip\b(?!\s*;\s*q=0(?:\.0*)?\s*(?:,|$))/.test(
    String(request.headers['accept-encoding'] ?? ''),
  )
  if (await isPackedFile(path)) {
    // Unpacked here: a packed run that breaks off would be no answer at all to a browser that unpacks it itself.
    const { bytes } = await openRun(path, PIECE_BYTES)
    sendStream(bytes, takesGzip, request, reply)
    return
  }
  reply.header('accept-ranges', 'bytes')
  const range = parseRange(request.headers.range, size)
  if (range === 'bad') {
    reply.header('content-range', `bytes */${size}`)
    throw new HttpProblem(416, 'bad_range', `the run has ${size} bytes`)
  }
  if (range) {
    reply.header('content-range', `bytes ${range[0]}-${range[1]}/${size}`)
    reply.header('content-length', range[1] - range[0] + 1)
    void reply.code(206).send(createReadStream(path, { start: range[0], end: range[1] }))
    return
  }
  if (size === 0) {
    void reply.header('content-length', 0).send('')
    return
  }
  if (!takesGzip) reply.header('content-length', size)
  // A run under way grows while it is read: exactly what was announced is sent.
  sendStream(createReadStream(path, { end: size - 1 }), takesGzip, request, reply)
}

function sendStream(bytes: Readable, takesGzip: boolean, request: FastifyRequest, reply: FastifyReply): void {
  if (!takesGzip) {
    void reply.send(bytes)
    return
  }
  reply.header('content-encoding', 'gzip')
  // Level 1: the link is a local network, the machine may be small.
  const packed = createGzip({ level: constants.Z_BEST_SPEED })
  const failed = (error: NodeJS.ErrnoException | null) => {
    if (error) request.log.warn(errorText(error))
  }
  void reply.send(pipeline(bytes, packed, failed))
}
