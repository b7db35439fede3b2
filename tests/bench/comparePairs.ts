import type { RunAnalysis } from '../../core/contract/result.ts'
import { compareRuns } from '../../core/tuning/compareRuns.ts'

/*
 * How often comparing two runs of ten minutes is right, whatever engine drives: nothing changed, and the main jet changed by 3 % and by 6.5 % of its
 * area, each day in other weather.
 */

/** A car whose main jet can be changed. */
export interface PairCar {
  name: string
  seed: number
  /** A drive with the right parts but so many times the main jet's area; `which` tells the days apart. */
  driveWith(mainArea: number, which: number): RunAnalysis
}

/** One car's pairs; a line of output each. */
export interface PairRow {
  engine: string
  seed: number
  name: string
  unchanged: string
  /** Unchanged states that were judged, those told no difference, those whose interval holds 0. */
  states: number
  quiet: number
  holding: number
  /** For each change of area: right, no_difference or wrong. */
  changed: Record<string, 'found' | 'missed' | 'wrong_way'>
}

const changes = [0.03, 0.065]

export function comparePairs(engine: string, car: PairCar): PairRow {
  const a = car.driveWith(1, 0)
  const same = compareRuns(a, car.driveWith(1, 1))
  const judged = Object.values(same.states).filter((entry) => entry.ci95)
  const changed: PairRow['changed'] = {}
  for (const [i, share] of changes.entries()) {
    const isBigger = car.seed % 2 === 1
    const { verdict } = compareRuns(a, car.driveWith(isBigger ? 1 + share : 1 / (1 + share), 2 + i))
    const wanted = isBigger ? 'richer' : 'leaner'
    changed[share] =
      verdict === wanted || verdict === 'mixed'
        ? 'found'
        : verdict === 'no_difference'
          ? 'missed'
          : 'wrong_way'
  }
  return {
    engine,
    seed: car.seed,
    name: car.name,
    unchanged: String(same.verdict),
    states: judged.length,
    quiet: judged.filter((entry) => entry.verdict === 'no_difference').length,
    holding: judged.filter(({ ci95 }) => ci95![0] <= 0 && ci95![1] >= 0).length,
    changed,
  }
}

const percent = (value: number, of: number) => `${((100 * value) / Math.max(1, of)).toFixed(1)} %`

/** The rows as a table for each engine. */
export function printPairs(rows: readonly PairRow[]): void {
  for (const engine of new Set(rows.map((row) => row.engine))) {
    const mine = rows.filter((row) => row.engine === engine)
    const sum = (pick: (row: PairRow) => number) => mine.reduce((total, row) => total + pick(row), 0)
    const quiet = mine.filter((row) => row.unchanged === 'no_difference').length
    console.log(`\n${engine}: ${mine.length} cars, drives of 600 s`)
    console.log(`unchanged told no_difference (≥ 95 %)        ${percent(quiet, mine.length)}`)
    console.log(
      `  single states told so, intervals holding 0  ${percent(
        sum((row) => row.quiet),
        sum((row) => row.states),
      )}, ${percent(
        sum((row) => row.holding),
        sum((row) => row.states),
      )} of ${sum((row) => row.states)}`,
    )
    for (const share of changes) {
      const found = mine.filter((row) => row.changed[share] === 'found').length
      const wrong = mine.filter((row) => row.changed[share] === 'wrong_way').length
      console.log(
        `${(100 * share).toFixed(1)} % of main jet area: found (≥ 95 %)      ${percent(found, mine.length)}, the wrong way ${wrong}`,
      )
    }
    for (const row of mine) {
      if (row.unchanged !== 'no_difference')
        console.log(`  ${row.name} ${row.seed} unchanged: ${row.unchanged}`)
    }
  }
}
