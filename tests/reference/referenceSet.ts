import { readFileSync } from 'node:fs'

/** One published or computed table, with where its figures come from. */
export interface ReferenceSet<Row> {
  readonly title: string
  /** `seen` read in the source; `memory` known from it, not read again; `computed`; `mixed` stands on each row. */
  readonly status: string
  readonly source: string
  readonly rows: readonly Row[]
}

/** A table of `data/<topic>.json`. Throws if it is not there, so that no test passes over an empty list. */
export function referenceSet<Row>(topic: string, id: string): ReferenceSet<Row> {
  const file = new URL(`./data/${topic}.json`, import.meta.url)
  const { sets } = JSON.parse(readFileSync(file, 'utf8')) as { sets: Record<string, ReferenceSet<Row>> }
  const set = sets[id]
  if (!set || set.rows.length === 0) throw new Error(`no reference set ${id} in ${topic}`)
  return set
}

/** Title of a test: what is compared, its source, and a label if the figures are from memory. */
export function labelOf(set: ReferenceSet<unknown>): string {
  return `${set.title} [${set.status === 'memory' ? 'from memory' : set.status}: ${set.source}]`
}
