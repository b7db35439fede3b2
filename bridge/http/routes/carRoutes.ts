import { randomBytes } from 'node:crypto'
import * as z from 'zod'
import type { Swap, Tank } from '../../../core/contract/api.ts'
import { type CarProfile, partSchema } from '../../../core/contract/car.ts'
import { errorText } from '../../bridgeError.ts'
import { type Parts, partsSchema, tankSchema } from '../../store/carStore.ts'
import { carIdPattern } from '../../store/runId.ts'
import { writtenCarSchema } from '../../store/writtenCar.ts'
import { HttpProblem } from '../problem.ts'
import { carParamsSchema, type RouteContext, requireController } from './routeContext.ts'

const entryParamsSchema = z.strictObject({
  car: z.string().regex(carIdPattern),
  id: z.string().regex(/^[a-z0-9-]{1,40}$/),
})
const newSwapSchema = z.strictObject({
  part: z.string().regex(/^[a-z0-9_]{1,40}$/),
  to: partSchema,
  at: z.iso.datetime({ offset: true }).optional(),
  reason: z.string().max(1000).optional(),
  cost: z.number().min(0).max(1e7).optional(),
  minutes: z.number().min(0).max(1e5).optional(),
})
const swapNotesSchema = newSwapSchema.pick({ reason: true, cost: true, minutes: true })
const newTankSchema = tankSchema
  .omit({ id: true })
  .extend({ at: z.iso.datetime({ offset: true }).optional() })
  .strict()

/** Most cars of a data directory. */
const mostCars = 200
/** Most entries of a log. */
const mostEntries = 2000

type CarParams = z.infer<typeof carParamsSchema>
type EntryParams = z.infer<typeof entryParamsSchema>

const newId = () => randomBytes(6).toString('hex')

/** Profiles, parts, swaps and tanks of the cars. */
export function addCarRoutes({ app, bridge }: RouteContext): void {
  const { cars } = bridge
  const nowIso = () => new Date(bridge.options.clock.wallMs()).toISOString()
  const read = { schema: { params: carParamsSchema } }

  app.get('/api/cars', async (): Promise<CarProfile[]> => {
    const ids = await cars.ids()
    if (!ids.includes(bridge.car)) ids.push(bridge.car)
    const profiles: CarProfile[] = []
    for (const id of ids.slice(0, mostCars)) {
      try {
        profiles.push(await cars.car(id).profile.read())
      } catch (error) {
        // One damaged profile must not hide the other cars.
        bridge.options.logger.error(errorText(error))
        profiles.push({ id, name: id, description: 'this profile is damaged: see the log' })
      }
    }
    return profiles
  })

  app.put<{ Params: CarParams; Body: CarProfile }>(
    '/api/cars/:car',
    { onRequest: requireController, schema: { params: carParamsSchema, body: writtenCarSchema } },
    async ({ params, body }) => {
      if (body.id !== params.car) {
        throw new HttpProblem(400, 'invalid', `id: expected ${params.car}, as in the address`)
      }
      await cars.car(params.car).profile.update((profile) => {
        for (const key of Object.keys(profile)) delete profile[key]
        Object.assign(profile, body)
      })
      if (params.car === bridge.car) bridge.record({ type: 'car', car: body })
      return body
    },
  )

  app.get<{ Params: CarParams }>('/api/cars/:car/parts', read, ({ params }) =>
    cars.car(params.car).parts.read(),
  )

  app.put<{ Params: CarParams; Body: Parts }>(
    '/api/cars/:car/parts',
    { onRequest: requireController, schema: { params: carParamsSchema, body: partsSchema } },
    async ({ params, body }) => {
      await cars.car(params.car).parts.update((parts) => {
        Object.assign(parts, body)
      })
      tellFitted(params.car, body)
      return body
    },
  )

  app.get<{ Params: CarParams }>('/api/cars/:car/swaps', read, ({ params }) =>
    cars.car(params.car).swaps.read(),
  )

  app.post<{ Params: CarParams; Body: z.infer<typeof newSwapSchema> }>(
    '/api/cars/:car/swaps',
    { onRequest: requireController, schema: { params: carParamsSchema, body: newSwapSchema } },
    async ({ params, body }, reply): Promise<Swap> => {
      const { parts, swaps } = cars.car(params.car)
      const { fitted } = await parts.read()
      const swap: Swap = { id: newId(), at: nowIso(), ...body, from: fitted[body.part] ?? null }
      await swaps.update((list) => {
        if (list.length >= mostEntries) throw new HttpProblem(409, 'log_full', 'the log book is full')
        list.push(swap)
      })
      await fitPart(params.car, body.part, body.to)
      void reply.code(201)
      return swap
    },
  )

  app.patch<{ Params: EntryParams; Body: z.infer<typeof swapNotesSchema> }>(
    '/api/cars/:car/swaps/:id',
    { onRequest: requireController, schema: { params: entryParamsSchema, body: swapNotesSchema } },
    async ({ params, body }): Promise<Swap> =>
      await cars.car(params.car).swaps.update((list) => {
        const swap = list.find(({ id }) => id === params.id)
        if (!swap) throw new HttpProblem(404, 'no_entry', 'there is no such entry')
        return Object.assign(swap, body)
      }),
  )

  app.delete<{ Params: EntryParams }>(
    '/api/cars/:car/swaps/:id',
    { onRequest: requireController, schema: { params: entryParamsSchema } },
    async ({ params }, reply) => {
      const swap = await takeOut(cars.car(params.car).swaps, params.id)
      // Undoing the newest swap of a part puts the former part back; an older one is only struck from the log.
      const later = (await cars.car(params.car).swaps.read()).some(
        (other) => other.part === swap.part && Date.parse(other.at) > Date.parse(swap.at),
      )
      if (!later) await fitPart(params.car, swap.part, swap.from)
      return reply.code(204).send()
    },
  )

  app.get<{ Params: CarParams }>('/api/cars/:car/tanks', read, ({ params }) =>
    cars.car(params.car).tanks.read(),
  )

  app.post<{ Params: CarParams; Body: z.infer<typeof newTankSchema> }>(
    '/api/cars/:car/tanks',
    { onRequest: requireController, schema: { params: carParamsSchema, body: newTankSchema } },
    async ({ params, body }, reply): Promise<Tank> => {
      const tank: Tank = { ...body, id: newId(), at: body.at ?? nowIso() }
      await cars.car(params.car).tanks.update((list) => {
        if (list.length >= mostEntries) throw new HttpProblem(409, 'log_full', 'the tank log is full')
        list.push(tank)
      })
      void reply.code(201)
      return tank
    },
  )

  app.delete<{ Params: EntryParams }>(
    '/api/cars/:car/tanks/:id',
    { onRequest: requireController, schema: { params: entryParamsSchema } },
    async ({ params }, reply) => {
      await takeOut(cars.car(params.car).tanks, params.id)
      return reply.code(204).send()
    },
  )

  async function fitPart(car: string, part: string, fitted: Parts['fitted'][string] | null): Promise<void> {
    const parts = await cars.car(car).parts.update((content) => {
      if (fitted) content.fitted[part] = fitted
      else delete content.fitted[part]
      return content
    })
    tellFitted(car, parts)
  }

  /** Pages and a run under way learn what is fitted now. */
  function tellFitted(car: string, { fitted }: Parts): void {
    if (car === bridge.car) bridge.record({ type: 'fitted', fitted })
  }
}

async function takeOut<T extends { id: string }>(
  file: { update<R>(change: (list: T[]) => R): Promise<R> },
  id: string,
): Promise<T> {
  return await file.update((list) => {
    const index = list.findIndex((entry) => entry.id === id)
    if (index < 0) throw new HttpProblem(404, 'no_entry', 'there is no such entry')
    return list.splice(index, 1)[0]
  })
}
