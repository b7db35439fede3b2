import type { Targets } from '../contract/car.ts'
import { type AdviceState, adviceStates } from './partPaths.ts'
import { type Band, bandOf } from './planCost.ts'

/** How many times as far below power's target part throttle may lie where the throttle alone tells it: what loads the engine there differs with its speed. Chosen here. */
const THROTTLE_ROOM = 2

/**
 * Bands in log λ. Where the enrichment opens within part throttle, that share of it is meant to run as rich as power: the rich limit of
 * part throttle moves accordingly, else a right main jet would be made lean to make up for the valve. A state that may hold any load, since the board
 * does not tell it, is right anywhere between the richest of power and the leanest of cruise: driving of which nobody knows the load, and with `isByThrottle`
 * part throttle, which is full load for a small engine.
 */
export function bandsOf(targets: Targets, enriched: number, isByThrottle = false): Map<AdviceState, Band> {
  const bands = new Map<AdviceState, Band>()
  for (const state of adviceStates) {
    const target = state === 'running' ? targets.cruise : targets[state]
    if (target) bands.set(state, bandOf(target))
  }
  const { cruise, part_throttle: part, power } = targets
  if (part && power && enriched > 0) {
    const limit = (1 - enriched) * (part.lambda - part.rich) + enriched * (power.lambda - power.rich)
    bands.set('part_throttle', { ...bandOf(part), low: Math.log(limit) })
  }
  if (!cruise || !power) return bands
  const low = Math.log(power.lambda - power.rich)
  const high = Math.log(cruise.lambda + cruise.lean)
  const lowest = Math.log(power.lambda - THROTTLE_ROOM * power.rich)
  if (isByThrottle && part) bands.set('part_throttle', { ...bandOf(part), low: lowest, high })
  bands.set('running', { ...bandOf(cruise), low, high })
  return bands
}
