import { type MixtureState, mixtureStates, type SteadyPiece } from '../contract/result.ts'
import { type Correlation, estimateCorrelation, type Residual, varianceOfSum } from './correlation.ts'

/** A piece of steady driving, made ready: log λ at reference air, and where on the map it was. */
interface Row {
  series: number
  timeS: number
  run: number
  seconds: number
  logLambda: number
  cell: string
  loadRow: string
  rpmColumn: string
  rpm: number
  load: number
  cold: number
  /** 1 as the throttle has just come to rest, falling with the time it stays: what film and pump leave behind. */
  fresh: number
}

/** One run of those compared: its pieces and what moves its log λ to reference air. */
export interface LevelInput {
  readonly pieces: readonly SteadyPiece[]
  readonly logShift: number
}

/** The mixture of one state over several runs, matched by map cell. */
export interface StateLevels {
  readonly state: MixtureState
  /** Mean log λ of each run, as if all had been driven over the same cells; NaN for a run without the state. */
  readonly logLambda: number[]
  /** Standard error of each from sampling alone: correlation and drift within the run are in it, day-to-day error is not. */
  readonly se: number[]
  /** Degrees of freedom of each: how many independent values stand behind it. */
  readonly freedom: number[]
  readonly seconds: number[]
  readonly visits: number[]
  /** Difference of two runs' log λ from matched cells, with its standard error and degrees of freedom. */
  contrast(from: number, to: number): { difference: number; se: number; freedom: number }
  /** Weight of each piece in that difference, times the state's spread: for sums over states, which share one wander in time. */
  contrastWeights(from: number, to: number): WeightedPiece[]
  readonly correlation: Correlation
}

export interface WeightedPiece {
  series: number
  timeS: number
  weight: number
}

/**
 * Variance of a weighted sum of several states' differences. States interleave in traffic, and the slow wander of one is that of
 * the next: so their errors do not average out as independent ones would.
 */
export function varianceOfMix(
  levels: readonly StateLevels[],
  shares: readonly number[],
  from: number,
  to: number,
): number {
  const pieces = levels.flatMap((level, i) =>
    level.contrastWeights(from, to).map((piece) => ({ ...piece, weight: piece.weight * shares[i] })),
  )
  pieces.sort((a, b) => a.series - b.series || a.timeS - b.timeS)
  return varianceOfSum(
    levels[0].correlation,
    pieces,
    pieces.map((piece) => piece.weight),
  )
}

/** Cells within which pieces count as driven alike: load finely, since enrichment opens within a few hundredths of it. Chosen here. */
const CELL_RPM = 750
const CELL_LOAD = 0.04
/**
 * Spread of λ over a state, as a share: between loads (enrichment opens), between speeds, and what a cell has of its own beyond
 * the two. Common practice, no source.
 */
const LOAD_SPREAD = 0.03
const RPM_SPREAD = 0.015
const CELL_SPREAD = 0.01
/**
 * The same where the noise is estimated: nearly none, for cells as free as above would soak up the slow wander that is to be measured.
 * What is left of the map's shape then counts as noise, which errs on the safe side.
 */
const NOISE_CELL_SPREAD = 0.003
/** Spread of a straight line across one cell's width, as a share of λ. Common practice, no source. */
const SLOPE_SPREAD = 0.02
/** Straight lines within the cells: speed, load, coolant, freshness. */
const SLOPES = 4
/** Time, s, over which a tip-in's film and shot fade once the throttle rests; it has rested for a second when a piece begins. Common practice, no source. */
const FADE_S = 1.2
/** Spread, as a share, of what film and pump add at the moment the throttle comes to rest. Common practice, no source. */
const FRESH_SPREAD = 0.03
const RESTED_S = 1
/** Coolant under which λ may still lean on the choke's last bit, °C; only the part below counts. */
const WARM_C = 80
/** Rows kept for each run and state: more are merged in time, since the pair sums cost their square. */
const MOST_ROWS = 600
/** A residual further out than this many spreads is drawn in: a burst of glitches must not carry a verdict. */
const WINSOR = 3.5
/** Smallest spread of a piece about its cell, as a share: the sensor's own noise. */
const LEAST_SPREAD = 0.002
/** Assumed spread and its weight in independent seconds, for states with little data. Common practice, no source. */
const ASSUMED_SPREAD = 0.012
const ASSUMED_SPREAD_S = 8

interface Prepared {
  state: MixtureState
  rows: Row[]
  fit: Fit
}

interface Fit {
  /** Solves the penalised normal equations for a contrast and returns the weight of each row. */
  weightsOf(contrast: Float64Array): Float64Array
  /** Variance that the assumed cell spread leaves in a contrast, from `weightsOf`'s solution. */
  solution: Float64Array
  columns: number
  runColumns: number
  /** Contrast of one run's level: its own column plus the shared mean of cells and slopes. */
  levelContrast(run: number): Float64Array
  residuals: Float64Array
  penaltyVariance(contrast: Float64Array): number
}

/**
 * Levels of every state over several runs. Within a state, log λ = run + cell + slope: so a run with more hill, or more speed, is
 * compared where both drove, and does not read as another mixture. Runs share one correlation in time, estimated from all
 * residuals. Warm-up is left out: it depends on coolant, and is compared on its own.
 */
export function findStateLevels(runs: readonly LevelInput[]): StateLevels[] {
  const states = new Set<MixtureState>()
  for (const run of runs)
    for (const piece of run.pieces) if (piece.state !== 'warm_up') states.add(piece.state)
  const prepared: Prepared[] = []
  for (const state of mixtureStates) {
    if (!states.has(state)) continue
    const rows = prepareRows(runs, state)
    if (rows.length > 0) {
      const fit = fitRows(rows, runs.length, CELL_SPREAD)
      prepared.push({
        state,
        rows,
        fit: { ...fit, residuals: fitRows(rows, runs.length, NOISE_CELL_SPREAD).residuals },
      })
    }
  }
  const spreads = prepared.map(({ rows, fit }) => spreadOf(rows, fit.residuals))
  const correlation = estimateCorrelation(pooledResiduals(prepared, spreads))
  return prepared.map(({ state, rows, fit }, index) =>
    levelsOf(state, rows, fit, spreads[index], correlation, runs.length),
  )
}

function prepareRows(runs: readonly LevelInput[], state: MixtureState): Row[] {
  const rows: Row[] = []
  for (const [run, { pieces, logShift }] of runs.entries()) {
    for (const bank of [1, 2] as const) {
      const mine = pieces.filter(
        (piece) => piece.state === state && piece.bank === bank && piece.lambda > 0 && piece.seconds > 0,
      )
      mine.sort((a, b) => a.timeS - b.timeS)
      rows.push(...mergeRows(mine, run, run * 2 + bank - 1, logShift))
    }
  }
  return rows
}

function mergeRows(pieces: readonly SteadyPiece[], run: number, series: number, logShift: number): Row[] {
  const blockS = pieces.length > MOST_ROWS ? Math.ceil(pieces.length / MOST_ROWS) : 0
  const rows: Row[] = []
  let visit = -1
  let startS = 0
  let restS = 0
  let endS = Number.NEGATIVE_INFINITY
  for (const piece of pieces) {
    // A stretch without pieces is one in which the throttle moved.
    const beginS = piece.timeS - piece.seconds / 2
    if (beginS - endS > 0.5) restS = beginS - RESTED_S
    endS = piece.timeS + piece.seconds / 2
    const fresh = Math.exp(-(piece.timeS - restS) / FADE_S)
    const { cell, loadRow, rpmColumn } = cellOf(piece)
    const last = rows[rows.length - 1]
    const logLambda = Math.log(piece.lambda) + logShift
    const cold = Number.isFinite(piece.coolantC) ? Math.max(0, WARM_C - piece.coolantC) / 20 : 0
    const rpm = Number.isFinite(piece.rpm) ? piece.rpm : 0
    const load = Number.isFinite(piece.load) ? piece.load : 0
    if (last && blockS > 0 && piece.visit === visit && last.cell === cell && piece.timeS - startS < blockS) {
      const whole = last.seconds + piece.seconds
      const share = piece.seconds / whole
      last.timeS += share * (piece.timeS - last.timeS)
      last.logLambda += share * (logLambda - last.logLambda)
      last.rpm += share * (rpm - last.rpm)
      last.load += share * (load - last.load)
      last.cold += share * (cold - last.cold)
      last.fresh += share * (fresh - last.fresh)
      last.seconds = whole
      continue
    }
    visit = piece.visit
    startS = piece.timeS
    rows.push({
      series,
      timeS: piece.timeS,
      run,
      seconds: piece.seconds,
      logLambda,
      cell,
      loadRow,
      rpmColumn,
      rpm,
      load,
      cold,
      fresh,
    })
  }
  return rows
}

function cellOf(piece: SteadyPiece) {
  const rpm = Number.isFinite(piece.rpm) ? Math.floor(piece.rpm / CELL_RPM) : 'x'
  const load = Number.isFinite(piece.load) ? Math.floor(piece.load / CELL_LOAD + 1e-9) : 'x'
  const { bank } = piece
  return { cell: `${bank}/${rpm}/${load}`, loadRow: `${bank} load ${load}`, rpmColumn: `${bank} rpm ${rpm}` }
}

function fitRows(rows: readonly Row[], runCount: number, cellSpread: number): Fit {
  // Cells, then what all cells of one load or one speed share, then straight lines inside the cells.
  const groups = [...new Set(rows.flatMap((row) => [row.cell, row.loadRow, row.rpmColumn]))]
  const groupColumn = new Map(groups.map((group, index) => [group, runCount + index]))
  const slopeColumn = runCount + groups.length
  const columns = slopeColumn + SLOPES
  const spreadOfColumn = new Float64Array(columns).fill(SLOPE_SPREAD)
  spreadOfColumn[columns - 1] = FRESH_SPREAD
  for (const row of rows) {
    spreadOfColumn[groupColumn.get(row.cell)!] = cellSpread
    spreadOfColumn[groupColumn.get(row.loadRow)!] = LOAD_SPREAD
    spreadOfColumn[groupColumn.get(row.rpmColumn)!] = RPM_SPREAD
  }
  let seconds = 0
  const middle = { rpm: 0, load: 0, cold: 0 }
  for (const row of rows) {
    seconds += row.seconds
    middle.rpm += row.seconds * row.rpm
    middle.load += row.seconds * row.load
    middle.cold += row.seconds * row.cold
  }
  middle.rpm /= seconds
  middle.load /= seconds
  middle.cold /= seconds
  const design = rows.map((row) => ({
    columns: [
      row.run,
      groupColumn.get(row.cell)!,
      groupColumn.get(row.loadRow)!,
      groupColumn.get(row.rpmColumn)!,
      slopeColumn,
      slopeColumn + 1,
      slopeColumn + 2,
      slopeColumn + 3,
    ],
    values: [
      1,
      1,
      1,
      1,
      (row.rpm - middle.rpm) / CELL_RPM,
      (row.load - middle.load) / CELL_LOAD,
      row.cold - middle.cold,
      // Not about its middle: levels are meant for a throttle long at rest.
      row.fresh,
    ],
  }))
  // Weight of a second of steady driving: neighbouring seconds agree, so ten of them carry about one piece of news.
  const perSecond = 1 / (ASSUMED_SPREAD ** 2 * 10)
  const matrix = Array.from({ length: columns }, () => new Float64Array(columns))
  const wanted = new Float64Array(columns)
  for (const [i, row] of rows.entries()) {
    const { columns: at, values } = design[i]
    const w = row.seconds * perSecond
    for (let a = 0; a < at.length; a++) {
      wanted[at[a]] += w * values[a] * row.logLambda
      for (let b = 0; b < at.length; b++) matrix[at[a]][at[b]] += w * values[a] * values[b]
    }
  }
  const penalty = new Float64Array(columns)
  for (let column = 0; column < columns; column++) {
    // Runs are free; their tiny weight only keeps the matrix regular where a run lacks the state.
    penalty[column] = column < runCount ? 1e-6 : 1 / spreadOfColumn[column] ** 2
    matrix[column][column] += penalty[column]
  }
  const factor = choleskyOf(matrix)
  const estimate = solveCholesky(factor, wanted)
  const residuals = new Float64Array(rows.length)
  for (const [i, row] of rows.entries()) {
    const { columns: at, values } = design[i]
    let fitted = 0
    for (let a = 0; a < at.length; a++) fitted += estimate[at[a]] * values[a]
    residuals[i] = row.logLambda - fitted
  }
  const cellShare = new Float64Array(columns)
  for (const row of rows) {
    for (const group of [row.cell, row.loadRow, row.rpmColumn]) {
      cellShare[groupColumn.get(group)!] += row.seconds / seconds
    }
  }
  return {
    columns,
    runColumns: runCount,
    solution: estimate,
    residuals,
    weightsOf(contrast) {
      const z = solveCholesky(factor, contrast)
      const weights = new Float64Array(rows.length)
      for (const [i, row] of rows.entries()) {
        const { columns: at, values } = design[i]
        let sum = 0
        for (let a = 0; a < at.length; a++) sum += z[at[a]] * values[a]
        weights[i] = sum * row.seconds * perSecond
      }
      return weights
    },
    levelContrast(run) {
      const contrast = Float64Array.from(cellShare)
      contrast[run] += 1
      return contrast
    },
    penaltyVariance(contrast) {
      const z = solveCholesky(factor, contrast)
      let variance = 0
      for (let column = runCount; column < columns; column++) variance += z[column] ** 2 * penalty[column]
      return variance
    },
  }
}

function spreadOf(rows: readonly Row[], residuals: Float64Array): number {
  let sum = ASSUMED_SPREAD_S * ASSUMED_SPREAD ** 2
  let seconds = ASSUMED_SPREAD_S
  for (const [i, row] of rows.entries()) {
    sum += row.seconds * residuals[i] ** 2
    seconds += row.seconds
  }
  return Math.max(LEAST_SPREAD, Math.sqrt(sum / seconds))
}

function pooledResiduals(prepared: readonly Prepared[], spreads: readonly number[]): Residual[] {
  const pooled: Residual[] = []
  for (const [index, { rows, fit }] of prepared.entries()) {
    for (const [i, row] of rows.entries()) {
      const value = Math.min(WINSOR, Math.max(-WINSOR, fit.residuals[i] / spreads[index]))
      pooled.push({ series: index * 1000 + row.series, timeS: row.timeS, value, seconds: row.seconds })
    }
  }
  return pooled
}

function levelsOf(
  state: MixtureState,
  rows: Row[],
  fit: Fit,
  spread: number,
  correlation: Correlation,
  runCount: number,
): StateLevels {
  const seconds = new Array<number>(runCount).fill(0)
  const visitStarts = new Array<number>(runCount).fill(0)
  const lastTime = new Map<number, number>()
  for (const row of rows) {
    seconds[row.run] += row.seconds
    const before = lastTime.get(row.series)
    if (before === undefined || row.timeS - before > 2 * Math.max(1, row.seconds)) visitStarts[row.run]++
    lastTime.set(row.series, row.timeS)
  }
  const samplingOf = (contrast: Float64Array) =>
    spread ** 2 * varianceOfSum(correlation, rows, fit.weightsOf(contrast))
  const logLambda: number[] = []
  const se: number[] = []
  const freedom: number[] = []
  for (let run = 0; run < runCount; run++) {
    if (seconds[run] === 0) {
      logLambda.push(Number.NaN)
      se.push(Number.NaN)
      freedom.push(LEAST_FREEDOM)
      continue
    }
    const contrast = fit.levelContrast(run)
    let level = 0
    for (let column = 0; column < fit.columns; column++) level += contrast[column] * fit.solution[column]
    logLambda.push(level)
    // The cells' assumed spread is common to all runs driven over the same cells: the level's own error is the sampling's.
    const sampling = samplingOf(contrast)
    const independent = (spread * spread * correlation.sill) / sampling
    freedom.push(Math.max(LEAST_FREEDOM, independent - 1))
    se.push(Math.sqrt(sampling) * smallSample(independent))
  }
  return {
    state,
    logLambda,
    se,
    freedom,
    seconds,
    visits: visitStarts,
    contrast(from, to) {
      if (seconds[from] === 0 || seconds[to] === 0) {
        return { difference: Number.NaN, se: Number.NaN, freedom: 1 }
      }
      const contrast = new Float64Array(fit.columns)
      contrast[to] = 1
      contrast[from] = -1
      const sampling = samplingOf(contrast)
      // Both runs have about half of the independent values behind a difference.
      const independent = (spread * spread * correlation.sill) / (sampling / 4)
      return {
        difference: fit.solution[to] - fit.solution[from],
        se: Math.sqrt(sampling * smallSample(independent / 2) ** 2 + fit.penaltyVariance(contrast)),
        freedom: Math.max(LEAST_FREEDOM, independent - 2),
      }
    },
    contrastWeights(from, to) {
      const contrast = new Float64Array(fit.columns)
      contrast[to] = 1
      contrast[from] = -1
      const weights = fit.weightsOf(contrast)
      return rows.map((row, i) => ({ series: row.series, timeS: row.timeS, weight: weights[i] * spread }))
    },
    correlation,
  }
}

/** Fewest degrees of freedom: what is assumed of the correlation stands for them. Chosen here. */
const LEAST_FREEDOM = 4

/** Few independent values make their own spread look small, since their mean was fitted to them. */
function smallSample(independent: number): number {
  const n = Math.max(3, independent)
  return Math.sqrt((n + 1) / (n - 1))
}

function choleskyOf(matrix: readonly Float64Array[]): Float64Array[] {
  const size = matrix.length
  const lower = Array.from({ length: size }, () => new Float64Array(size))
  for (let i = 0; i < size; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = matrix[i][j]
      for (let k = 0; k < j; k++) sum -= lower[i][k] * lower[j][k]
      lower[i][j] = i === j ? Math.sqrt(Math.max(sum, 1e-12)) : sum / lower[j][j]
    }
  }
  return lower
}

function solveCholesky(lower: readonly Float64Array[], wanted: Float64Array): Float64Array {
  const size = lower.length
  const x = Float64Array.from(wanted)
  for (let i = 0; i < size; i++) {
    for (let k = 0; k < i; k++) x[i] -= lower[i][k] * x[k]
    x[i] /= lower[i][i]
  }
  for (let i = size - 1; i >= 0; i--) {
    for (let k = i + 1; k < size; k++) x[i] -= lower[k][i] * x[k]
    x[i] /= lower[i][i]
  }
  return x
}
