import type { MixtureState } from '../contract/result.ts'
import { invertPositive } from '../numeric/cholesky.ts'
import type { LevelRow } from './levelRows.ts'
import { mainReach } from './mainReach.ts'

/**
 * What a state's log λ is made of: run + load + speed + cell + straight lines. Loads, speeds and cells are common to all runs and only as
 * free as a carburettor's map is uneven, so a run with more hill, or more speed, is compared where both drove.
 */
export interface LevelDesign {
  readonly columns: number
  /** Columns and values of each row. */
  readonly at: readonly Int32Array[]
  readonly values: readonly Float64Array[]
  /** What is held of the columns beforehand: inverse of their covariance. */
  readonly precision: readonly Float64Array[]
  /** The run's own column of a state. */
  runColumn(state: MixtureState, run: number): number
  /**
   * Contrast of a run's level in a state: its own column and the mean of the map as all runs drove it, clear of idle. Of idle as that run idled: an
   * engine idles at the speed and load that its mixture gives, and what other parts made of it is no road that it might have taken.
   */
  levelContrast(state: MixtureState, run: number): Float64Array
}

/** Cells within which rows count as driven alike: load finely, since enrichment opens within a few hundredths of it. Chosen here. */
const CELL_RPM = 750
const CELL_LOAD = 0.04
/** Spreads of the map about its mean, in log λ, and the distance in load over which it bends. Common practice, no source. */
interface MapSpread {
  /** Between loads, smooth; the same from one load row to the next. */
  load: number
  loadOwn: number
  rpm: number
  cell: number
}
const runningMap: MapSpread = { load: 0.03, loadOwn: 0.006, rpm: 0.015, cell: 0.006 }
/** As the enrichment and the secondaries open, cells of one load and speed differ by the way there. */
const enrichedMap: MapSpread = { load: 0.03, loadOwn: 0.008, rpm: 0.02, cell: 0.012 }
/** At idle the ports feed by a vacuum that hardly counts with load: accessories and lights move λ little. */
const idleMap: MapSpread = { load: 0.008, loadOwn: 0.002, rpm: 0.006, cell: 0.002 }
const LOAD_REACH = 0.12
/**
 * Cells where the noise is estimated: nearly none of their own, else they would soak up the slow wander that is to be measured. What is
 * left of the map's shape then counts as noise, which errs on the safe side.
 */
const NOISE_CELL_SPREAD = 0.003
/** Spread of a straight line across one cell's width, log λ. Common practice, no source. */
const SLOPE_SPREAD = 0.02
/** Spread, as a share, of what film and pump add at the moment the throttle comes to rest. Common practice, no source. */
const FRESH_SPREAD = 0.03
/** Runs are free; their tiny weight only keeps the matrix regular where a run lacks the state. */
export const FREE = 1e-6
/**
 * How steeply log λ may fall with load where the enrichment opens, and away from there: what another barometric pressure moves a state by,
 * since a valve opens at a vacuum. Common practice, no source.
 */
const VACUUM_SLOPE: Readonly<Partial<Record<MixtureState, number>>> = { part_throttle: 0.5, idle: 0.02 }
const OTHER_VACUUM_SLOPE = 0.1
/** Straight lines within the cells: speed, load, coolant, vacuum, freshness. */
const SLOPES = 5

/** Columns of a row that tell where it was: its run, load, speed and cell, then the straight lines of speed and load. */
const OPERATING_COLUMNS = 6

/** Lays out the columns for these rows. `isForNoise`: the stiffer map of the noise estimate. */
export function designLevels(rows: readonly LevelRow[], runCount: number, isForNoise: boolean): LevelDesign {
  const states = [...new Set(rows.map((row) => row.state))]
  const offsets = new Map<MixtureState, number>()
  const shares = new Map<MixtureState, Map<number, number>>()
  const idleShares = Array.from({ length: runCount }, () => new Map<number, number>())
  const at: Int32Array[] = new Array(rows.length)
  const values: Float64Array[] = new Array(rows.length)
  const priors: { first: number; covariance: Float64Array[] }[] = []
  const standing = standingOf(rows)
  const idleSeconds = new Float64Array(runCount)
  let columns = 0
  for (const state of states) {
    const mine = rows.flatMap((row, i) => (row.state === state ? [i] : []))
    offsets.set(state, columns)
    columns += runCount
    const groups = groupRows(mine.map((i) => rows[i]))
    const spread = spreadOfMap(state)
    const first = columns
    columns += groups.count
    const slopes = columns
    columns += SLOPES
    for (const prior of groups.priors(spread, isForNoise)) {
      priors.push({ first: first + prior.first, covariance: prior.covariance })
    }
    const middle = middleOf(mine.map((i) => rows[i]))
    const share = new Map<number, number>()
    let whole = 0
    for (const [k, i] of mine.entries()) {
      const row = rows[i]
      const cell = groups.of[k].map((group) => first + group)
      at[i] = Int32Array.of(
        offsets.get(state)! + row.run,
        ...cell,
        slopes,
        slopes + 1,
        slopes + 2,
        slopes + 3,
        slopes + 4,
      )
      values[i] = Float64Array.of(
        1,
        1,
        1,
        1,
        (orZero(row.rpm) - middle.rpm) / CELL_RPM,
        (orZero(row.load) - middle.load) / CELL_LOAD,
        row.cold - middle.cold,
        // Not about their middle: levels are meant for a day of 100 kPa and a throttle long at rest.
        row.vacuumGap,
        row.fresh,
      )
      const weight = row.seconds * standing[i]
      for (const column of cell) share.set(column, (share.get(column) ?? 0) + weight)
      whole += weight
      if (state !== 'idle') continue
      for (let a = 1; a < OPERATING_COLUMNS; a++) {
        const own = idleShares[row.run]
        own.set(at[i][a], (own.get(at[i][a]) ?? 0) + row.seconds * values[i][a])
      }
      idleSeconds[row.run] += row.seconds
    }
    for (const [column, weight] of share) share.set(column, weight / whole)
    shares.set(state, share)
    for (let slope = 0; slope < SLOPES; slope++) {
      const sd =
        slope === SLOPES - 1
          ? FRESH_SPREAD
          : slope === SLOPES - 2
            ? (VACUUM_SLOPE[state] ?? OTHER_VACUUM_SLOPE)
            : SLOPE_SPREAD
      priors.push({ first: slopes + slope, covariance: [Float64Array.of(sd * sd)] })
    }
  }
  return {
    columns,
    at,
    values,
    precision: precisionOf(columns, priors),
    runColumn: (state, run) => offsets.get(state)! + run,
    levelContrast(state, run) {
      const contrast = new Float64Array(columns)
      if (state === 'idle' && idleSeconds[run] > 0)
        for (const [column, share] of idleShares[run]) contrast[column] = share / idleSeconds[run]
      else for (const [column, share] of shares.get(state)!) contrast[column] = share
      contrast[offsets.get(state)! + run] = 1
      return contrast
    },
  }
}

function orZero(value: number): number {
  return Number.isFinite(value) ? value : 0
}

/** What driving close to idle's air flow still counts for in the level of a running state. Chosen here. */
const LEAST_STANDING = 0.15

/** Weight of each row in its state's level: pulling away, the idle circuit still feeds, and says little of the state's own. */
function standingOf(rows: readonly LevelRow[]): Float64Array {
  return mainReach(rows).map((reach, i) =>
    rows[i].state === 'idle' ? 1 : LEAST_STANDING + (1 - LEAST_STANDING) * reach,
  )
}

function spreadOfMap(state: MixtureState): MapSpread {
  if (state === 'idle') return idleMap
  return state === 'part_throttle' || state === 'power' ? enrichedMap : runningMap
}

function precisionOf(columns: number, priors: readonly { first: number; covariance: Float64Array[] }[]) {
  const precision = Array.from({ length: columns }, () => new Float64Array(columns))
  for (let column = 0; column < columns; column++) precision[column][column] = FREE
  for (const { first, covariance } of priors) {
    const inverse = invertPositive(covariance)
    for (let i = 0; i < inverse.length; i++) {
      for (let j = 0; j < inverse.length; j++) precision[first + i][first + j] = inverse[i][j]
    }
  }
  return precision
}

function middleOf(rows: readonly LevelRow[]) {
  const middle = { seconds: 0, rpm: 0, load: 0, cold: 0 }
  for (const row of rows) {
    middle.seconds += row.seconds
    middle.rpm += row.seconds * orZero(row.rpm)
    middle.load += row.seconds * orZero(row.load)
    middle.cold += row.seconds * row.cold
  }
  middle.rpm /= middle.seconds
  middle.load /= middle.seconds
  middle.cold /= middle.seconds
  return middle
}

/** Load rows, speed columns and cells of a state's rows, each with a number of its own. */
function groupRows(rows: readonly LevelRow[]) {
  const loads = new Map<string, { group: number; bank: number; load: number }>()
  const speeds = new Map<string, number>()
  const cells = new Map<string, number>()
  const keys = rows.map((row) => {
    const load = Number.isFinite(row.load) ? Math.floor(row.load / CELL_LOAD + 1e-9) : Number.NaN
    const rpm = Number.isFinite(row.rpm) ? Math.floor(row.rpm / CELL_RPM) : Number.NaN
    const key = { load: `${row.bank}/${load}`, rpm: `${row.bank}/${rpm}`, cell: `${row.bank}/${load}/${rpm}` }
    if (!loads.has(key.load)) {
      const middle = Number.isNaN(load) ? 0 : (load + 0.5) * CELL_LOAD
      loads.set(key.load, { group: loads.size, bank: row.bank, load: middle })
    }
    if (!speeds.has(key.rpm)) speeds.set(key.rpm, speeds.size)
    if (!cells.has(key.cell)) cells.set(key.cell, cells.size)
    return key
  })
  const firstSpeed = loads.size
  const firstCell = firstSpeed + speeds.size
  return {
    count: firstCell + cells.size,
    of: keys.map((key) => [
      loads.get(key.load)!.group,
      firstSpeed + speeds.get(key.rpm)!,
      firstCell + cells.get(key.cell)!,
    ]),
    priors(spread: MapSpread, isForNoise: boolean) {
      const list = [...loads.values()]
      const covariance = list.map((a) =>
        Float64Array.from(list, (b) => {
          const smooth =
            a.bank === b.bank ? spread.load ** 2 * Math.exp(-Math.abs(a.load - b.load) / LOAD_REACH) : 0
          return a === b ? smooth + spread.loadOwn ** 2 : smooth
        }),
      )
      const own = (first: number, count: number, sd: number) =>
        Array.from({ length: count }, (_, i) => ({
          first: first + i,
          covariance: [Float64Array.of(sd * sd)],
        }))
      const cell = isForNoise ? Math.min(NOISE_CELL_SPREAD, spread.cell) : spread.cell
      return [
        { first: 0, covariance },
        ...own(firstSpeed, speeds.size, spread.rpm),
        ...own(firstCell, cells.size, cell),
      ]
    },
  }
}
