import * as z from 'zod'
import type { PortReport, RawLine, SavedLineMap } from '../../../core/contract/api.ts'
import { type LineMap, lineMapSchema, parseLineMap } from '../../../core/line/lineMap.ts'
import { errorText } from '../../bridgeError.ts'
import { boardReading, type LineReading, mappedReading } from '../../source/lineReading.ts'
import { surveyPorts } from '../../source/surveyPorts.ts'
import { MapStore, mapNamePattern } from '../../store/mapStore.ts'
import { HttpProblem } from '../problem.ts'
import { type RouteContext, requireController } from './routeContext.ts'

const linesSchema = z.strictObject({
  source: z.coerce.number().int().min(0).max(15).default(0),
  after: z.coerce.number().int().min(0).default(0),
})
const portsSchema = z.strictObject({ listen: z.boolean().default(false) })
const sourceParamsSchema = z.strictObject({ source: z.coerce.number().int().min(0).max(15) })
const useMapSchema = z.strictObject({ name: z.string().regex(mapNamePattern).nullable() })
const mapParamsSchema = z.strictObject({ name: z.string().regex(mapNamePattern) })

/** What the page about the link asks for: lines as they came, ports, line maps. */
export function addLinkRoutes({ app, bridge }: RouteContext): void {
  const maps = new MapStore(bridge.options.dataDir)
  let survey: Promise<PortReport[]> | undefined

  app.get<{ Querystring: z.infer<typeof linesSchema> }>(
    '/api/lines',
    { schema: { querystring: linesSchema } },
    async ({ query }): Promise<RawLine[]> => bridge.tail.after(query.source, query.after),
  )

  // Listening opens ports and restarts some boards: only for those who may change things, one survey at a time.
  app.post<{ Body: z.infer<typeof portsSchema> }>(
    '/api/ports',
    { onRequest: requireController, schema: { body: portsSchema } },
    async ({ body }): Promise<PortReport[]> => {
      if (body.listen && bridge.recorder.isOn) {
        throw new HttpProblem(409, 'recording', 'listening to other ports waits until the recording stops')
      }
      const inUse = bridge.options.sources.flatMap(({ port }) => port ?? [])
      survey ??= surveyPorts({ listen: body.listen, inUse }).finally(() => {
        survey = undefined
      })
      return await survey
    },
  )

  app.get('/api/maps', async (): Promise<SavedLineMap[]> => await maps.list())

  app.put<{ Params: z.infer<typeof mapParamsSchema>; Body: LineMap }>(
    '/api/maps/:name',
    { onRequest: requireController, schema: { params: mapParamsSchema, body: lineMapSchema } },
    async ({ params, body }): Promise<SavedLineMap> => {
      try {
        return await maps.save(params.name, parseLineMap(body))
      } catch (error) {
        if (error instanceof RangeError) throw new HttpProblem(400, 'invalid', error.message)
        throw error
      }
    },
  )

  // The lines mean something else from now on; what was recorded stays as it came, and so does what comes.
  app.put<{ Params: z.infer<typeof sourceParamsSchema>; Body: z.infer<typeof useMapSchema> }>(
    '/api/sources/:source/map',
    { onRequest: requireController, schema: { params: sourceParamsSchema, body: useMapSchema } },
    async ({ params, body }): Promise<{ map: string | null }> => {
      const port = bridge.options.sources[params.source]?.port
      if (port === undefined)
        throw new HttpProblem(409, 'no_port', 'only the lines of a port can be read with a line map')
      const reading = await readingOfMap(maps, body.name)
      bridge.readAs(params.source, reading)
      await bridge.ports.keep(port, { map: body.name ?? undefined })
      return { map: body.name }
    },
  )
}

async function readingOfMap(maps: MapStore, name: string | null): Promise<LineReading> {
  if (name === null) return boardReading()
  try {
    const map = await maps.read(name)
    if (map) return mappedReading(map)
  } catch (error) {
    throw new HttpProblem(422, 'bad_map', `the map ${name} cannot be used: ${errorText(error)}`)
  }
  throw new HttpProblem(404, 'no_map', `there is no map ${name}`)
}
