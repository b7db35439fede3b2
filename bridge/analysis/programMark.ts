import { createHash } from 'node:crypto'
import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { findPackageRoot } from '../packageRoot.ts'

/**
 * A mark that changes with every change of the program that works runs out: the contents of its files, of the bundle or of the sources, and the
 * runtime's version. A version number alone stays the same while somebody works on the program.
 */
export function programMark(): string {
  const root = findPackageRoot()
  const folders = import.meta.url.endsWith('.ts') ? ['core', 'bridge/analysis'] : ['dist/node']
  const hash = createHash('sha256').update(process.version)
  for (const folder of folders) {
    const names = readdirSync(join(root, folder), { recursive: true, encoding: 'utf8' })
    for (const name of names.filter((one) => /\.(ts|js)$/.test(one)).sort())
      hash.update(name).update(readFileSync(join(root, folder, name)))
  }
  return hash.digest('hex')
}
