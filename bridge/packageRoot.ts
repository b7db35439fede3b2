import { existsSync } from 'node:fs'
import { dirname, join } from 'node:path'
import { fileURLToPath } from 'node:url'

/** Directory of the package, whether this runs from its sources or from the bundle in `dist/node`. */
export function findPackageRoot(): string {
  let directory = dirname(fileURLToPath(import.meta.url))
  while (!existsSync(join(directory, 'package.json'))) {
    const parent = dirname(directory)
    if (parent === directory) throw new RangeError('no package.json above the program')
    directory = parent
  }
  return directory
}
