import { readdir, readFile } from 'node:fs/promises'
import { join } from 'node:path'
import type { SavedLineMap } from '../../core/contract/api.ts'
import { type LineMap, parseLineMap } from '../../core/line/lineMap.ts'
import { systemCode } from '../bridgeError.ts'
import { replaceFile } from './jsonFile.ts'

/** Name of a saved line map: a file name on every system. */
export const mapNamePattern = /^[a-z0-9][a-z0-9_-]{0,39}$/
/** Most maps of a data directory. */
const mostMaps = 100

/** Line maps that were made on the page: `<data>/.bridge/maps/<name>.json`, to be given to `--map`. */
export class MapStore {
  readonly #directory: string

  constructor(dataDir: string) {
    this.#directory = join(dataDir, '.bridge', 'maps')
  }

  pathOf(name: string): string {
    if (!mapNamePattern.test(name)) throw new RangeError(`invalid map name: ${name}`)
    return join(this.#directory, `${name}.json`)
  }

  /** All maps that can be read, by name. */
  async list(): Promise<SavedLineMap[]> {
    const files = await readdir(this.#directory).catch(() => [])
    const maps: SavedLineMap[] = []
    for (const file of files.sort().slice(0, mostMaps)) {
      const name = file.replace(/\.json$/, '')
      if (!mapNamePattern.test(name)) continue
      try {
        const map = parseLineMap(await readFile(this.pathOf(name), 'utf8'))
        maps.push({ name, path: this.pathOf(name), map })
      } catch {
        // A file that is no map any more is not offered.
      }
    }
    return maps
  }

  /** A saved map; undefined when there is none of that name. @throws RangeError for a file that is no map any more */
  async read(name: string): Promise<LineMap | undefined> {
    let text: string
    try {
      text = await readFile(this.pathOf(name), 'utf8')
    } catch (error) {
      if (systemCode(error) === 'ENOENT') return undefined
      throw error
    }
    return parseLineMap(text)
  }

  /** Writes a map whole or not at all. */
  async save(name: string, map: LineMap): Promise<SavedLineMap> {
    const path = this.pathOf(name)
    await replaceFile(path, `${JSON.stringify(map, null, 2)}\n`)
    return { name, path, map }
  }
}
