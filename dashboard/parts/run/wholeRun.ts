import { type CarProfile, defaultTargets } from '../../../core/contract/car.ts'
import type { AnalysisResult, MixtureState, OperatingState } from '../../../core/contract/result.ts'

/** Target λ of a state of this car; NaN for states without one. */
export function targetOf(car: CarProfile | undefined, state: OperatingState): number {
  const name = state === 'running' ? 'cruise' : state
  const targets = { ...defaultTargets, ...car?.targets }
  // The warm-up's target moves with the coolant: no single line for it.
  if (name === 'warm_up') return Number.NaN
  return targets[name as Exclude<MixtureState, 'running'>]?.lambda ?? Number.NaN
}

/** Target at each of the times, by the state that ruled then; `null` where there is none. Times ascend. */
export function targetsAt(
  timeS: ArrayLike<number>,
  states: AnalysisResult['states'],
  car: CarProfile | undefined,
): (number | null)[] {
  const line: (number | null)[] = new Array(timeS.length)
  let span = 0
  for (let i = 0; i < timeS.length; i++) {
    while (span < states.length && states[span].end_s <= timeS[i]) span++
    const now = states[span]
    const target = now && now.start_s <= timeS[i] ? targetOf(car, now.state) : Number.NaN
    line[i] = Number.isNaN(target) ? null : target
  }
  return line
}

/** State at a time, by the run's result. */
export function stateAt(states: AnalysisResult['states'], timeS: number): OperatingState | undefined {
  let low = 0
  let high = states.length
  while (low < high) {
    const middle = (low + high) >>> 1
    if (states[middle].end_s <= timeS) low = middle + 1
    else high = middle
  }
  const span = states[low]
  return span && span.start_s <= timeS ? span.state : undefined
}
