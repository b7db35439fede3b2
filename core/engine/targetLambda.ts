import type { Target, Targets } from '../contract/car.ts'
import { defaultTargets } from '../contract/defaultTargets.ts'
import { stateCode } from './operatingState.ts'

/** Target and band of one moment; NaN where the state has no target. Reused by the caller. */
export interface TargetNow {
  lambda: number
  rich: number
  lean: number
}

/** Coolant at and below which the warm-up target is the cold one, °C; common practice, no source. */
const COLD_C = 10

/** Finds the target of a state, for the warm-up by coolant temperature. */
export interface TargetFinder {
  readonly targets: Readonly<Required<Targets>>
  find(into: TargetNow, state: number, coolantC: number): void
  /** Target λ alone. */
  lambda(state: number, coolantC: number): number
}

/** Targets of the owner over the defaults; the warm-up runs straight from its cold value to warm idle's at `warmC`. */
export function createTargetFinder(own: Targets | undefined, warmC: number): TargetFinder {
  const targets = { ...defaultTargets, ...withoutUndefined(own) } as Required<Targets>
  const running = targets.cruise
  const byState: (Target | undefined)[] = []
  byState[stateCode.idle] = targets.idle
  byState[stateCode.cruise] = targets.cruise
  byState[stateCode.part_throttle] = targets.part_throttle
  byState[stateCode.power] = targets.power
  byState[stateCode.running] = running
  byState[stateCode.warm_up] = targets.warm_up

  const finder: TargetFinder = {
    targets,
    lambda(state, coolantC) {
      const target = byState[state]
      if (!target) return Number.NaN
      if (state !== stateCode.warm_up) return target.lambda
      const share = (coolantC - COLD_C) / (warmC - COLD_C)
      const warmth = Number.isNaN(share) ? 0 : Math.min(1, Math.max(0, share))
      return target.lambda + warmth * (targets.idle.lambda - target.lambda)
    },
    find(into, state, coolantC) {
      const target = byState[state]
      into.lambda = finder.lambda(state, coolantC)
      into.rich = target ? target.rich : Number.NaN
      into.lean = target ? target.lean : Number.NaN
    },
  }
  return finder
}

function withoutUndefined(own: Targets | undefined): Partial<Targets> {
  return Object.fromEntries(Object.entries(own ?? {}).filter(([, target]) => target !== undefined))
}
