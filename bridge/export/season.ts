import { basename, join } from 'node:path'
import { runName } from './exportTable.ts'

/** Hive's name for the partition of rows without a value, which query engines read as null. */
const noValue = '__HIVE_DEFAULT_PARTITION__'

/**
 * Place of a run in a season's folder: `car=<id>/date=<day>/<name>.parquet`, the layout that query engines read as two more columns. The day is that of
 * the run's own clock, as its start says it.
 */
export function seasonPath(name: string, car: string | undefined, start: string | undefined): string {
  const day = /^\d{4}-\d{2}-\d{2}/.exec(start ?? '')?.[0] ?? noValue
  const id = car === undefined || car === '' ? noValue : car.replace(/[^A-Za-z0-9_-]/g, '-')
  return join(`car=${id}`, `date=${day}`, `${name}.parquet`)
}

/** A name for each run's export, from its file; the same name twice gets a number, in the order given. */
export function uniqueNames(paths: readonly string[]): string[] {
  const taken = new Set<string>()
  return paths.map((path) => {
    const stem = runName(basename(path))
    let name = stem
    for (let n = 2; taken.has(name.toLowerCase()); n++) name = `${stem}-${n}`
    // Some file systems do not tell small letters from large ones.
    taken.add(name.toLowerCase())
    return name
  })
}
