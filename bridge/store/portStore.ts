import { join } from 'node:path'
import * as z from 'zod'
import { createJsonFile, type JsonFile } from './jsonFile.ts'
import { mapNamePattern } from './mapStore.ts'

/** What was found or chosen for one port. */
const portSchema = z.object({
  /** Name of a saved line map its lines are read with. */
  map: z.string().regex(mapNamePattern).optional(),
  /** Speed at which readable lines came, baud. */
  baud: z.number().int().min(50).max(4_000_000).optional(),
})
export type KeptPort = z.infer<typeof portSchema>

/** Most ports that are remembered; the oldest leaves. */
const mostPorts = 100

/** What the bridge remembers of each port for next time: `<data>/.bridge/ports.json`. */
export class PortStore {
  readonly #file: JsonFile<Record<string, KeptPort>>

  constructor(dataDir: string) {
    this.#file = createJsonFile({
      path: join(dataDir, '.bridge', 'ports.json'),
      schema: z.record(z.string(), portSchema),
      empty: () => ({}),
    })
  }

  /** What is remembered of a port; empty for an unknown one. @throws BridgeError `bad_file` */
  async read(port: string): Promise<KeptPort> {
    const kept = await this.#file.read()
    return Object.hasOwn(kept, port) ? kept[port] : {}
  }

  /** Changes what is remembered; undefined forgets. */
  async keep(port: string, part: { [K in keyof KeptPort]?: KeptPort[K] | undefined }): Promise<void> {
    await this.#file.update((kept) => {
      const next = { ...kept[port], ...part }
      delete kept[port]
      kept[port] = next
      const names = Object.keys(kept)
      for (const name of names.slice(0, Math.max(0, names.length - mostPorts))) delete kept[name]
    })
  }
}
