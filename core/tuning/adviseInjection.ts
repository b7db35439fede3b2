import type { AdviceResult, Change } from '../contract/advice.ts'
import type { CarProfile, Targets } from '../contract/car.ts'
import type { RunAnalysis } from '../contract/result.ts'
import { stateWords } from './compareRuns.ts'
import { findInjectionFactors, type InjectionFactors } from './injectionFactors.ts'
import type { AdviceState } from './partPaths.ts'
import type { Band } from './planCost.ts'
import { judgePump } from './pumpAdvice.ts'
import type { ObservedRun } from './runObservations.ts'

/** The next numbers to type into a throttle-body injection, in place of parts. */
export function adviseInjection(
  today: RunAnalysis,
  states: AdviceResult['states'],
  bands: ReadonlyMap<AdviceState, Band>,
  targets: Targets,
  observed: readonly ObservedRun[],
  car: CarProfile,
): AdviceResult {
  const pump = judgePump([today])
  const factors: InjectionFactors = findInjectionFactors(
    today,
    (state) => {
      const entry = states[state]
      return entry?.lambda ? { lambda: entry.lambda, seconds: Number(entry.seconds) } : undefined
    },
    targets,
    pump.pattern && pump.verdict === 'lean' ? pump.peak : null,
  )
  const needs = [...bands.keys()]
    .filter((state) => states[state].verdict === 'not_enough_data')
    .map((state) => ({ state, seconds: 30 }))
  const off = [...bands.keys()]
    .filter((state) => states[state].verdict === 'rich' || states[state].verdict === 'lean')
    .sort((a, b) => Math.abs(Number(states[b].error)) - Math.abs(Number(states[a].error)))
  const changes: Change[] = off.map((state) => {
    const factor = factors.states[state]?.factor ?? 1
    const entry = states[state]
    return {
      circuit: state === 'idle' ? 'idle' : state === 'power' ? 'power' : 'main',
      part: 'fuel_table',
      direction: factor > 1 ? 'richer' : 'leaner',
      from: { label: 'as it is' },
      to: { label: `× ${factor.toFixed(3)} in ${stateWords[state]}` },
      area_factor: factor,
      expected_lambda: entry.target,
      expected_ci95: null,
      because: [
        `${stateWords[state]} reads λ ${entry.lambda!.toFixed(2)}, target ${entry.target!.toFixed(2)}: fuel × ${factor.toFixed(3)}.`,
        'Type in the factors of the table below, cell by cell; the same percentage everywhere else in the state.',
      ],
    }
  })
  const done = changes.length === 0 && needs.length === 0
  return {
    format: 'floatbowl-advice 1',
    done,
    next: changes[0] ?? null,
    also: changes.slice(1),
    ...(changes.length === 0 && needs.length > 0 ? { needs } : {}),
    states,
    factors,
    warnings: [
      'The injection measures its own air: no air correction was applied, a hot day may read a little otherwise.',
    ],
    summary: done ? 'Change nothing: every state is where it belongs.' : 'Type in the correction factors.',
    runs_used: observed.length,
    metering: car.metering,
  }
}
