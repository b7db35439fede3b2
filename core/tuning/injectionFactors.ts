import type { Targets } from '../contract/car.ts'
import { defaultTargets } from '../contract/car.ts'
import type { RunAnalysis } from '../contract/result.ts'
import type { AccelerationFactor } from './accelerationAdvice.ts'
import type { ColdFactor } from './coldAdvice.ts'
import { adviceStates } from './partPaths.ts'

/** Correction factors to type into a throttle-body injection: fuel now × factor = fuel wanted. */
export interface InjectionFactors {
  /** Measured λ ÷ target λ per state. */
  states: Partial<Record<string, { factor: number; percent: number; seconds: number }>>
  /** The same per map cell, rows by load, columns by rpm; null where too little was seen. */
  cells: (number | null)[][]
  /** Seconds behind each cell. */
  seconds: number[][]
  rpm_edges: number[]
  load_edges: number[]
  /** Percent more or less of the acceleration enrichment, from tip-in peaks; null without a habit, or where its decay is to be changed. */
  acceleration_percent: number | null
  /** The same as factors, with what it rests on; null without a habit. */
  acceleration: AccelerationFactor | null
  /** Fuel of the warm-up by coolant; empty where no cold start tells. */
  cold: ColdFactor[]
}

/** Seconds in a cell below which no factor is given. */
const LEAST_CELL_S = 3
/** Largest correction written in one go: a cell further off is more likely a fault. Common practice, no source. */
const MOST_FACTOR = 1.25

/** Factors of the warm engine's steady driving: measured λ over target λ, per state and map cell, held within ±25 %. */
export function findSteadyFactors(
  run: RunAnalysis,
  lambdaOf: (state: string) => { lambda: number; seconds: number } | undefined,
  targets: Targets,
): Omit<InjectionFactors, 'acceleration' | 'acceleration_percent' | 'cold'> {
  const states: InjectionFactors['states'] = {}
  for (const state of adviceStates) {
    const seen = lambdaOf(state)
    const target = targetFor(state, targets)
    if (!seen || target === undefined) continue
    const factor = boundedFactor(seen.lambda / target)
    states[state] = {
      factor,
      percent: Math.round((factor - 1) * 1000) / 10,
      seconds: Math.round(seen.seconds),
    }
  }
  const { map } = run.result
  const cells = map.lambda.map((row, i) =>
    row.map((lambda, j) => {
      const error = map.error[i]?.[j]
      if (lambda === null || error === null || error === undefined) return null
      if (map.seconds[i][j] < LEAST_CELL_S) return null
      return boundedFactor(lambda / (lambda - error))
    }),
  )
  return {
    states,
    cells,
    seconds: map.seconds,
    rpm_edges: map.rpm_edges,
    load_edges: map.load_edges,
  }
}

/** True for a factor that is held: the state is further off than is typed in at once. */
export const isHeld = (factor: number) => factor >= MOST_FACTOR || factor <= 1 / MOST_FACTOR

function targetFor(state: string, targets: Targets): number | undefined {
  const name = state === 'running' ? 'cruise' : state
  return (targets[name as keyof Targets] ?? defaultTargets[name as keyof Targets])?.lambda
}

/** A factor held within what is typed in at once. */
export function boundedFactor(factor: number): number {
  return Math.round(Math.min(MOST_FACTOR, Math.max(1 / MOST_FACTOR, factor)) * 1000) / 1000
}
