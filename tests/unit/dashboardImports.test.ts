import { readdirSync, readFileSync } from 'node:fs'
import { dirname, join, relative, resolve } from 'node:path'
import { describe, expect, it } from 'vitest'

const root = resolve(import.meta.dirname, '../../dashboard')
/** Folders of the dashboard, each with those that it must not look into. */
const above: Readonly<Record<string, readonly string[]>> = {
  words: ['parts', 'pages'],
  parts: ['pages'],
  state: ['pages'],
  worker: ['pages'],
}

const filesOf = (folder: string) =>
  readdirSync(join(root, folder), { recursive: true, encoding: 'utf8' })
    .filter((name) => /\.(ts|svelte)$/.test(name))
    .map((name) => join(root, folder, name))
/** The folder of the dashboard that each import of a file leads into. */
const foldersOf = (file: string) =>
  [...readFileSync(file, 'utf8').matchAll(/from '(\.[^']+)'/g)].map(
    ([, path]) => relative(root, resolve(dirname(file), path)).split('/')[0],
  )

describe('imports in the dashboard', () => {
  it('run one way: words know no parts, and nothing knows the pages', () => {
    for (const [folder, barred] of Object.entries(above)) {
      const files = filesOf(folder)
      expect(files.length).toBeGreaterThan(3)
      const wrong = files.filter((file) => foldersOf(file).some((to) => barred.includes(to)))
      expect(wrong.map((file) => relative(root, file))).toEqual([])
    }
  })
})
