import { readdir } from 'node:fs/promises'
import { join } from 'node:path'
import * as z from 'zod'
import type { Swap, Tank } from '../../core/contract/api.ts'
import {
  airSchema,
  boxSchema,
  type CarProfile,
  carSchema,
  fittedSchema,
  partSchema,
} from '../../core/contract/car.ts'
import { createJsonFile, type JsonFile } from './jsonFile.ts'
import { carIdPattern } from './runId.ts'

/** Most entries of one log: thirty years of weekly work. */
const mostEntries = 2000

const entryIdSchema = z.string().regex(/^[a-z0-9-]{1,40}$/)

export const swapSchema = z.object({
  id: entryIdSchema,
  at: z.string().max(40),
  part: z.string().max(40),
  from: partSchema.nullable(),
  to: partSchema,
  reason: z.string().max(1000).optional(),
  cost: z.number().min(0).max(1e7).optional(),
  minutes: z.number().min(0).max(1e5).optional(),
}) satisfies z.ZodType<Swap>

export const tankSchema = z.object({
  id: entryIdSchema,
  at: z.string().max(40),
  distance_km: z.number().min(0).max(1e7),
  fuel_l: z.number().positive().max(1000),
  cost: z.number().min(0).max(1e7).optional(),
  full: z.boolean(),
  fuel: z.string().max(60).optional(),
  note: z.string().max(1000).optional(),
}) satisfies z.ZodType<Tank>

export const partsSchema = z.object({ fitted: fittedSchema.default({}), box: boxSchema.default({}) })
export type Parts = z.infer<typeof partsSchema>

export const stateSchema = z.looseObject({
  car: z.string().regex(carIdPattern).optional(),
  air: airSchema.optional(),
})

/** The plain JSON files of one car, beside its runs. */
export interface CarFiles {
  profile: JsonFile<CarProfile>
  parts: JsonFile<Parts>
  swaps: JsonFile<Swap[]>
  tanks: JsonFile<Tank[]>
}

/** Everything kept of cars: `<data>/<car>/{car,parts,swaps,tanks}.json`, and which car is in use. */
export class CarStore {
  readonly #dataDir: string
  readonly #cars = new Map<string, CarFiles>()
  /** The car in use and the air of the day. */
  readonly state: JsonFile<z.infer<typeof stateSchema>>

  constructor(dataDir: string) {
    this.#dataDir = dataDir
    this.state = createJsonFile({
      path: join(dataDir, '.bridge', 'state.json'),
      schema: stateSchema,
      empty: () => ({}),
    })
  }

  /** @throws RangeError when the id is no car id */
  car(id: string): CarFiles {
    if (!carIdPattern.test(id)) throw new RangeError(`invalid car id: ${id}`)
    let files = this.#cars.get(id)
    if (!files) {
      const path = (name: string) => join(this.#dataDir, id, name)
      files = {
        profile: createJsonFile({ path: path('car.json'), schema: carSchema, empty: () => ({ id }) }),
        parts: createJsonFile({
          path: path('parts.json'),
          schema: partsSchema,
          empty: () => ({ fitted: {}, box: {} }),
        }),
        swaps: createJsonFile({
          path: path('swaps.json'),
          schema: z.array(swapSchema).max(mostEntries),
          empty: () => [],
        }),
        tanks: createJsonFile({
          path: path('tanks.json'),
          schema: z.array(tankSchema).max(mostEntries),
          empty: () => [],
        }),
      }
      this.#cars.set(id, files)
    }
    return files
  }

  /** Ids of all cars that have a directory, in order. */
  async ids(): Promise<string[]> {
    const entries = await readdir(this.#dataDir, { withFileTypes: true }).catch(() => [])
    return entries
      .filter((entry) => entry.isDirectory() && carIdPattern.test(entry.name))
      .map((entry) => entry.name)
      .sort()
  }
}
