import { type OperatingState, operatingStates } from '../core/contract/result.ts'
import type { Engine } from './engine.ts'
import type { ParameterValues } from './parameters.ts'

/** Index of a state in `operatingStates`. */
export function stateIndex(state: OperatingState): number {
  return (operatingStates as readonly OperatingState[]).indexOf(state)
}

const off = stateIndex('off')
const cranking = stateIndex('cranking')
const warmUp = stateIndex('warm_up')
const idle = stateIndex('idle')
const cruise = stateIndex('cruise')
const part = stateIndex('part_throttle')
const power = stateIndex('power')
const overrun = stateIndex('overrun')

/** Edges in load between cruise, part throttle and power, and how far past an edge the load must go to cross back. */
const cruiseBelow = 0.6
const powerAbove = 0.85
const loadBand = 0.02
const leastStateS = 0.5
const warmFromC = 60
const atRestPct = 1.5

/** The state by its definition, on noise-free signals. `before` is the state until now, for hysteresis; −1 for none. */
export function classifyState(p: ParameterValues, engine: Engine, before = -1): number {
  const { rpm } = engine
  if (rpm < 50) return off
  if (rpm < 400 && !engine.fired) return cranking
  const atRest = engine.throttlePct < atRestPct
  const limit = 1.4 * p['engine.idle_rpm']
  const factor = before === overrun ? 0.97 : before === idle ? 1.03 : 1
  if (atRest && rpm > factor * limit) return overrun
  const isCold = engine.coolantC < warmFromC
  if (atRest) return isCold ? warmUp : idle
  const load = engine.manifoldPa / engine.base.air.pressurePa
  const low =
    cruiseBelow + (before === cruise ? loadBand : before === part || before === power ? -loadBand : 0)
  const high =
    powerAbove + (before === power ? -loadBand : before === part || before === cruise ? loadBand : 0)
  if (load > high) return power
  return isCold ? warmUp : load < low ? cruise : part
}

/** States of a whole run: visits shorter than half a second join what came before them. */
export function settleStates(raw: Float32Array, rateHz: number): Uint8Array {
  const out = new Uint8Array(raw.length)
  const least = Math.ceil(leastStateS * rateHz)
  let current = raw.length > 0 ? raw[0] : off
  for (let i = 0; i < raw.length; ) {
    let end = i
    while (end < raw.length && raw[end] === raw[i]) end++
    if (end - i >= least || raw[i] === off) current = raw[i]
    out.fill(current, i, end)
    i = end
  }
  return out
}
