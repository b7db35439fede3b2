import { randomBytes } from 'node:crypto'
import { createReadStream } from 'node:fs'
import { access, rm, stat } from 'node:fs/promises'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import * as z from 'zod'
import { inlinePagePolicy } from '../../security/headers.ts'
import { carIdPattern, parseRunId } from '../../store/runId.ts'
import { HttpProblem } from '../problem.ts'
import { CommandRunner } from '../runCommand.ts'
import { type RouteContext, type RunParams, runParamsSchema } from './routeContext.ts'
import { requireRunPath, runIdOf } from './runRoutes.ts'

/** Names under which the progress of work is told. */
const askPattern = /^[a-z0-9-]{1,40}$/
const askParamsSchema = z.strictObject({ ask: z.string().regex(askPattern) })

const runIdSchema = z
  .string()
  .max(200)
  .refine((id) => parseRunId(id) !== undefined, { message: 'expected car/session/file' })
/** How sentences give the mixture; left out, as the car's profile says. */
const mixtureSchema = z.enum(['lambda', 'afr', 'phi']).optional()
const compareSchema = z.strictObject({ a: runIdSchema, b: runIdSchema, mixture: mixtureSchema })
/** How they give bores; left out, as the car's profile says, else as each was noted. */
const boreSchema = z.enum(['mm', 'in', 'thou']).optional()
const adviseSchema = z.strictObject({
  runs: z.array(runIdSchema).min(1).max(100),
  car: z.string().regex(carIdPattern),
  mixture: mixtureSchema,
  bore: boreSchema,
  /** Hints of the runs whose test was done and found nothing. */
  checked: z
    .array(z.enum(['exhaust_leak']))
    .max(1)
    .optional(),
  /** A name of the asker's own, by which it can hear how far the work is. */
  ask: z.string().regex(askPattern).optional(),
})
/** Units of other quantities by name; left out, as the car's profile says. */
const unitSchema = z
  .string()
  .regex(/^[A-Za-z0-9_/]{1,20}$/)
  .optional()
const sheetUnits = {
  temperature: unitSchema,
  pressure: unitSchema,
  distance: unitSchema,
  power: unitSchema,
  economy: unitSchema,
}
const reportSchema = z.strictObject({ mixture: mixtureSchema, bore: boreSchema, ...sheetUnits })
const exportSchema = z.strictObject({ to: z.enum(['csv', 'parquet']) })

const exportTypes = { csv: 'text/csv; charset=utf-8', parquet: 'application/vnd.apache.parquet' } as const

/** Results kept: one is some hundred kB. */
const mostKept = 32

/** What is worked out from runs: results, comparison, advice, sheet, exports. */
export function addAnalysisRoutes(context: RouteContext): void {
  const { app, bridge } = context
  const runner = new CommandRunner(bridge.options.dataDir)
  const kept = new Map<string, string>()
  /** Work under way that somebody wants to hear of: share done, by the asker's name. */
  const underWay = new Map<string, number>()

  /** Does some work, and tells under the asker's name how far it is. */
  const told = async <T>(
    ask: string | undefined,
    work: (onProgress: (share: number) => void) => Promise<T>,
  ) => {
    if (ask === undefined) return await work(() => {})
    underWay.set(ask, 0)
    try {
      return await work((share) => underWay.set(ask, share))
    } finally {
      underWay.delete(ask)
    }
  }

  /** A result stays right as long as none of the files it came from has changed. */
  const runKept = async (
    words: readonly string[],
    paths: readonly string[],
    ask?: string,
  ): Promise<string> => {
    const marks = await Promise.all(
      paths.map((path) =>
        stat(join(bridge.options.dataDir, path)).then(
          ({ size, mtimeMs }) => `${size}.${mtimeMs}`,
          () => 'none',
        ),
      ),
    )
    const key = JSON.stringify([words, marks])
    const known = kept.get(key)
    if (known !== undefined) return known
    const text = await told(ask, (onProgress) => runner.run(words, onProgress))
    kept.set(key, text)
    if (kept.size > mostKept) kept.delete(kept.keys().next().value as string)
    return text
  }

  /** A run's path in the data directory: its id, once it is known that the file is there. */
  const pathOf = async (params: RunParams) => {
    await requireRunPath(context, params)
    return runIdOf(params)
  }
  const pathOfId = (id: string) => {
    const [car, session, file] = id.split('/')
    return pathOf({ car, session, file })
  }

  app.get<{ Params: RunParams }>(
    '/api/runs/:car/:session/:file/result',
    { schema: { params: runParamsSchema } },
    async ({ params }, reply) => {
      const path = await pathOf(params)
      reply.type('application/json; charset=utf-8')
      return await runKept(['analyse', path, '--json'], [path])
    },
  )

  app.get<{ Params: RunParams; Querystring: z.infer<typeof reportSchema> }>(
    '/api/runs/:car/:session/:file/report',
    { schema: { params: runParamsSchema, querystring: reportSchema } },
    async ({ params, query }, reply) => {
      const path = await pathOf(params)
      return await withTemporary('html', async (out) => {
        await runner.run(['report', path, '--out', out, ...unitFlags(query), ...sheetUnitFlags(query)])
        reply.type('text/html; charset=utf-8').header('content-security-policy', inlinePagePolicy())
        return await sendAndRemove(out, reply)
      })
    },
  )

  app.get<{ Params: RunParams; Querystring: z.infer<typeof exportSchema> }>(
    '/api/runs/:car/:session/:file/export',
    { schema: { params: runParamsSchema, querystring: exportSchema } },
    async ({ params, query }, reply) => {
      const path = await pathOf(params)
      const name = params.file.replace(/\.capture(\.gz)?$/, `.${query.to}`)
      return await withTemporary(query.to, async (out) => {
        await runner.run(['export', path, '--to', query.to, '--out', out])
        reply.type(exportTypes[query.to]).header('content-disposition', `attachment; filename="${name}"`)
        return await sendAndRemove(out, reply)
      })
    },
  )

  app.post<{ Body: z.infer<typeof compareSchema> }>(
    '/api/compare',
    { schema: { body: compareSchema } },
    async ({ body }, reply) => {
      const [a, b] = [await pathOfId(body.a), await pathOfId(body.b)]
      reply.type('application/json; charset=utf-8')
      return await runKept(['compare', a, b, ...unitFlags(body), '--json'], [a, b])
    },
  )

  app.post<{ Body: z.infer<typeof adviseSchema> }>(
    '/api/advise',
    { schema: { body: adviseSchema } },
    async ({ body }, reply) => {
      const paths = await Promise.all(body.runs.map(pathOfId))
      const box = `${body.car}/parts.json`
      const profile = `${body.car}/car.json`
      if (!(await exists(join(bridge.options.dataDir, box)))) {
        throw new HttpProblem(409, 'no_box', 'list what is fitted and what is in your box first')
      }
      const car = (await exists(join(bridge.options.dataDir, profile))) ? ['--car', profile] : []
      reply.type('application/json; charset=utf-8')
      const words = [
        'advise',
        ...paths,
        '--box',
        box,
        ...car,
        ...unitFlags(body),
        ...checkedFlag(body.checked),
        '--json',
      ]
      return await runKept(words, [...paths, box, profile], body.ask)
    },
  )

  app.get<{ Params: z.infer<typeof askParamsSchema> }>(
    '/api/progress/:ask',
    { schema: { params: askParamsSchema } },
    async ({ params }) => ({ share: underWay.get(params.ask) ?? null }),
  )
}

const checkedFlag = (codes: readonly string[] = []) => codes.flatMap((code) => ['--checked', code])

const sheetUnitFlags = (asked: z.infer<typeof reportSchema>) => {
  const chosen = (Object.keys(sheetUnits) as (keyof typeof sheetUnits)[]).flatMap((quantity) =>
    asked[quantity] ? [`${quantity}=${asked[quantity]}`] : [],
  )
  return chosen.length > 0 ? ['--unit', ...chosen] : []
}

const unitFlags = ({ mixture, bore }: { mixture?: string | undefined; bore?: string | undefined }) => [
  ...(mixture ? ['--mixture', mixture] : []),
  ...(bore ? ['--bore', bore] : []),
]

const exists = (path: string) =>
  access(path).then(
    () => true,
    () => false,
  )

async function withTemporary<T>(extension: string, use: (path: string) => Promise<T>): Promise<T> {
  const path = join(tmpdir(), `floatbowl-${randomBytes(8).toString('hex')}.${extension}`)
  try {
    return await use(path)
  } catch (error) {
    await rm(path, { force: true })
    throw error
  }
}

async function sendAndRemove(path: string, reply: import('fastify').FastifyReply) {
  const { size } = await stat(path)
  const stream = createReadStream(path)
  stream.on('close', () => {
    void rm(path, { force: true })
  })
  return reply.header('content-length', size).send(stream)
}
