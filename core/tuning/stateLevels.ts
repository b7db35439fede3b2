import { type MixtureState, mixtureStates } from '../contract/result.ts'
import { designLevels, type LevelDesign } from './levelDesign.ts'
import { fitLevels, type LevelFit, type RowScatter } from './levelFit.ts'
import { type LevelInput, type LevelRow, levelRowsOf } from './levelRows.ts'
import { clearOfIdle } from './mainReach.ts'
import { estimateWander, type TimedResidual, type WanderModel, wanderOfSecond } from './wanderModel.ts'

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
}

/** All states over several runs: their levels, and what they were found from. */
export interface LevelSet {
  readonly levels: readonly StateLevels[]
  readonly rows: readonly LevelRow[]
  readonly design: LevelDesign
  readonly scatter: RowScatter
  /** Variance of a second of driving, log λ squared, over all states. */
  readonly variance: number
}

/** A residual further out than this many spreads is drawn in: a burst of glitches must not carry a verdict. */
const WINSOR = 3.5
/** Smallest spread of a row about its cell, as a share: the sensor's own noise. */
const LEAST_SPREAD = 0.002
/** Assumed spread and its weight in independent seconds, for states with little data. Common practice, no source. */
const ASSUMED_SPREAD = 0.012
const ASSUMED_SPREAD_S = 8
/** Before the wander is known: neighbouring seconds agree, so ten of them carry about one piece of news. */
const FIRST_GUESS: WanderModel = { decays: [], white: 10 }
/** Steady seconds between two rows of a state beyond which another visit begins. */
const VISIT_GAP_S = 4

/**
 * Levels of every state over several runs. Within a state, log λ = run + map + slope, so that a run with more hill, or more speed, is
 * compared where both drove, and does not read as another mixture. All states are one fit weighted by the wander in time that their
 * residuals show, since the slow wander of one state is that of the next. Warm-up is left out: it depends on coolant. With `ownCircuit`
 * driving that the idle circuit still feeds is left out where the rest suffices: a verdict on a circuit wants it, a comparison does not.
 */
export function findStateLevels(
  runs: readonly LevelInput[],
  { ownCircuit = false }: { ownCircuit?: boolean } = {},
): LevelSet | undefined {
  const all = runs.flatMap(levelRowsOf)
  const rows = ownCircuit ? clearOfIdle(all) : all
  const states = mixtureStates.filter((state) => rows.some((row) => row.state === state))
  if (rows.length === 0) return undefined
  const kind = rows.map((row) => mixtureStates.indexOf(row.state) * 2 + row.bank)
  const firstGuess = { spread: rows.map(() => ASSUMED_SPREAD), wander: FIRST_GUESS, kind }
  const { residuals } = fitLevels(rows, designLevels(rows, runs.length, true), firstGuess)
  const spreads = new Map(states.map((state) => [state, spreadOf(rows, residuals, state)]))
  const wander = estimateWander(scaledResiduals(rows, residuals, spreads))
  const design = designLevels(rows, runs.length, false)
  const scatter: RowScatter = {
    // A row far out is held to be a glitch: it counts for as much as it would if it lay at the edge of the usual.
    spread: rows.map((row, i) => {
      const spread = spreads.get(row.state)!
      return spread * Math.max(1, Math.abs(residuals[i]) / (WINSOR * spread))
    }),
    wander,
    kind,
  }
  const fit = fitLevels(rows, design, scatter)
  const levels = states.map((state) =>
    levelsOf(
      { state, rows, design, fit, sill: wanderOfSecond(wander), spread: spreads.get(state)! },
      runs.length,
    ),
  )
  const whole = rows.reduce((sum, row) => sum + row.seconds, 0)
  const squares = rows.reduce((sum, row) => sum + row.seconds * spreads.get(row.state)! ** 2, 0)
  return { levels, rows, design, scatter, variance: (wanderOfSecond(wander) * squares) / whole }
}

function spreadOf(rows: readonly LevelRow[], residuals: Float64Array, state: MixtureState): number {
  let sum = ASSUMED_SPREAD_S * ASSUMED_SPREAD ** 2
  let seconds = ASSUMED_SPREAD_S
  for (const [i, row] of rows.entries()) {
    if (row.state !== state) continue
    sum += row.seconds * residuals[i] ** 2
    seconds += row.seconds
  }
  return Math.max(LEAST_SPREAD, Math.sqrt(sum / seconds))
}

function scaledResiduals(
  rows: readonly LevelRow[],
  residuals: Float64Array,
  spreads: ReadonlyMap<MixtureState, number>,
): TimedResidual[] {
  return rows.map((row, i) => ({
    series: (row.run * mixtureStates.length + mixtureStates.indexOf(row.state)) * 2 + row.bank,
    timeS: row.timeS,
    value: Math.min(WINSOR, Math.max(-WINSOR, residuals[i] / spreads.get(row.state)!)),
    seconds: row.seconds,
  }))
}

interface Found {
  readonly state: MixtureState
  readonly rows: readonly LevelRow[]
  readonly design: LevelDesign
  readonly fit: LevelFit
  readonly sill: number
  readonly spread: number
}

function levelsOf(found: Found, runCount: number): StateLevels {
  const { state, rows, design, fit, sill, spread } = found
  const seconds = new Array<number>(runCount).fill(0)
  const visits = new Array<number>(runCount).fill(0)
  const lastS = new Array<number>(runCount).fill(Number.NEGATIVE_INFINITY)
  for (const row of rows) {
    if (row.state !== state) continue
    seconds[row.run] += row.seconds
    if (row.timeS - lastS[row.run] > VISIT_GAP_S) visits[row.run]++
    lastS[row.run] = row.timeS
  }
  const variance = spread ** 2 * sill
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
    const contrast = design.levelContrast(state, run)
    const sampling = dot(contrast, fit.covarianceTimes(contrast))
    const independent = variance / sampling
    logLambda.push(dot(contrast, fit.estimate))
    freedom.push(Math.max(LEAST_FREEDOM, independent - 1))
    se.push(Math.sqrt(sampling) * smallSample(independent))
  }
  const contrastOf = (from: number, to: number) => {
    const contrast = new Float64Array(design.columns)
    contrast[design.runColumn(state, to)] = 1
    contrast[design.runColumn(state, from)] = -1
    return contrast
  }
  return {
    state,
    logLambda,
    se,
    freedom,
    seconds,
    visits,
    contrast(from, to) {
      if (seconds[from] === 0 || seconds[to] === 0) {
        return { difference: Number.NaN, se: Number.NaN, freedom: 1 }
      }
      const contrast = contrastOf(from, to)
      const sampling = dot(contrast, fit.covarianceTimes(contrast))
      // Both runs have about half of the independent values behind a difference.
      const independent = variance / (sampling / 4)
      return {
        difference: dot(contrast, fit.estimate),
        se: Math.sqrt(sampling) * smallSample(independent / 2),
        freedom: Math.max(LEAST_FREEDOM, independent - 2),
      }
    },
  }
}

/** Fewest degrees of freedom: what is assumed of the correlation stands for them. Chosen here. */
const LEAST_FREEDOM = 4

/** Few independent values make their own spread look small, since their mean was fitted to them. */
export function smallSample(independent: number): number {
  const n = Math.max(3, independent)
  return Math.sqrt(n / (n - 1))
}

function dot(a: ArrayLike<number>, b: ArrayLike<number>): number {
  let sum = 0
  for (let i = 0; i < a.length; i++) sum += a[i] * b[i]
  return sum
}
