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
const loadBand = 0.01
const leastStateS = 0.5
const warmFromC = 60
const atRestPct = 1.5
/** Overrun begins above this multiple of the car's warm idle. */
const idleFactor = 1.4
/** Idling: speed within this share over this time; and how long it must be seen. Common practice, no source. */
const idleCalmShare = 0.03
const idleCalmS = 1
const leastIdleS = 2

/** The state by its definition, on noise-free signals. `before` is the state until now, for hysteresis; −1 for none. */
export function classifyState(p: ParameterValues, engine: Engine, before = -1): number {
  const { rpm } = engine
  if (rpm < 50) return off
  if (rpm < 400 && !engine.fired) return cranking
  const atRest = engine.throttlePct < atRestPct
  if (atRest && isAboveIdle(rpm, p['engine.idle_rpm'], before)) return overrun
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

function isAboveIdle(rpm: number, warmIdleRpm: number, before: number): boolean {
  const factor = before === overrun ? 0.97 : before === idle ? 1.03 : 1
  return rpm > factor * idleFactor * warmIdleRpm
}

/** Columns that tell the car's own warm idle. */
export interface IdleColumns {
  rpm: Float32Array
  throttlePct: Float32Array
  coolantC: Float32Array
  /** 0 in neutral. */
  gear: Float32Array
}

/**
 * The speed at which this engine idled, warm and in neutral, rpm: the median of its true speed. The parameter is what it was built for; with these
 * parts in this air it may idle elsewhere. NaN when it was not seen for two seconds.
 */
export function warmIdleRpm({ rpm, throttlePct, coolantC, gear }: IdleColumns, rateHz: number): number {
  const seen: number[] = []
  const back = Math.round(idleCalmS * rateHz)
  for (let i = back; i < rpm.length; i++) {
    if (throttlePct[i] >= atRestPct || coolantC[i] < warmFromC || gear[i] !== 0 || rpm[i] < 300) continue
    if (Math.abs(rpm[i] - rpm[i - back]) < idleCalmShare * rpm[i]) seen.push(rpm[i])
  }
  if (seen.length < leastIdleS * rateHz) return Number.NaN
  seen.sort((a, b) => a - b)
  return seen[seen.length >> 1]
}

/** Judges idle against overrun anew, where the throttle is at rest, by the speed at which the engine truly idles. */
export function splitAtRest(raw: Float32Array, columns: IdleColumns, warmIdle: number): void {
  let before = -1
  for (let i = 0; i < raw.length; i++) {
    const isRunning = raw[i] === idle || raw[i] === overrun || raw[i] === warmUp
    if (isRunning && columns.throttlePct[i] < atRestPct) {
      const rest = columns.coolantC[i] < warmFromC ? warmUp : idle
      raw[i] = isAboveIdle(columns.rpm[i], warmIdle, before) ? overrun : rest
    }
    before = raw[i]
  }
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
