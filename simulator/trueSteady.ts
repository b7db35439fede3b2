import { operatingStates } from '../core/contract/result.ts'
import { stateIndex } from './trueStates.ts'
import type { Truth, TruthSteady } from './truth.ts'

const withMixture = new Set(
  (['warm_up', 'idle', 'cruise', 'part_throttle', 'power'] as const).map((state) => stateIndex(state)),
)
/** Steady: the throttle moved less than this over the last second, %. */
const steadyPct = 3

/** Marks samples of a state that has a mixture whose throttle moved less than 3 % over the last second. */
export function findSteady(throttlePct: Float32Array, state: Uint8Array, rateHz: number): Uint8Array {
  const out = new Uint8Array(throttlePct.length)
  const window = Math.round(rateHz)
  const stride = Math.max(1, Math.round(rateHz / 20))
  for (let i = 0; i < out.length; i++) {
    if (i < window || !withMixture.has(state[i])) continue
    let least = throttlePct[i]
    let most = least
    for (let j = i - window; j < i; j += stride) {
      const value = throttlePct[j]
      if (value < least) least = value
      if (value > most) most = value
    }
    if (most - least < steadyPct) out[i] = 1
  }
  return out
}

export interface SteadyInput {
  lambda: Float32Array
  still: Float32Array
  state: Uint8Array
  steadyNow: Uint8Array
  rpm: Float32Array
  manifoldKpa: Float32Array
  ambientKpa: number
  periodS: number
}

/** True steady mixture of each state over the samples that count as steady. */
export function steadyMixtures(input: SteadyInput): Truth['steady'][number] {
  const out: Truth['steady'][number] = {}
  const { lambda, still, state, steadyNow, rpm, manifoldKpa } = input
  operatingStates.forEach((name, index) => {
    const values: number[] = []
    let sum = 0
    let sumStill = 0
    let sumRpm = 0
    let sumLoad = 0
    for (let i = 0; i < lambda.length; i++) {
      if (state[i] !== index || steadyNow[i] === 0 || !Number.isFinite(lambda[i])) continue
      values.push(lambda[i])
      sum += lambda[i]
      sumStill += still[i]
      sumRpm += rpm[i]
      sumLoad += manifoldKpa[i] / input.ambientKpa
    }
    const n = values.length
    if (n === 0) return
    values.sort((a, b) => a - b)
    const entry: TruthSteady = {
      seconds: n * input.periodS,
      mean: sum / n,
      median: values[n >> 1],
      meanStill: sumStill / n,
      rpm: sumRpm / n,
      load: sumLoad / n,
    }
    out[name] = entry
  })
  return out
}
