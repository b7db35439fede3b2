import { defaultStateLimits, type StateLimits } from './stateLimits.ts'

/** Without a pressure sensor the throttle's limits hold at this speed and rise with it: a quick engine needs more plate for the same load. */
const THROTTLE_LIMIT_RPM = 2500
const THROTTLE_LIMIT_EXPONENT = 0.6
const LEAST_LIMIT_RPM = 600

/** How much more plate an engine needs at this speed for the same load than where the throttle's limits hold, as a factor. */
export function throttleQuickness(rpm: number): number {
  return (Math.max(rpm, LEAST_LIMIT_RPM) / THROTTLE_LIMIT_RPM) ** THROTTLE_LIMIT_EXPONENT
}

/** Load in gear with the plate shut, and of a wide-open plate: common practice, no source. */
const SHUT_LOAD = 0.3
const OPEN_LOAD = 0.98
/** The curve goes through the default throttle limits, which stand for the load limits: 0.60 at 25 %, 0.85 at 43 %. */
const CURVE_PCT = 33.1
const CURVE_POWER = 1.93

/**
 * Load of a middling carburettor, manifold ÷ barometric pressure, by the throttle's opening over rest at `THROTTLE_LIMIT_RPM`, %: little at first,
 * since a plate uncovers its bore slowly, and hardly more once the engine breathes freely.
 */
export function throttleLoad(throttlePct: number, shutLoad: number = SHUT_LOAD): number {
  const opened = Math.max(0, throttlePct) / CURVE_PCT
  return shutLoad + (OPEN_LOAD - shutLoad) * (1 - Math.exp(-(opened ** CURVE_POWER)))
}

/** Load at warm idle, and least load of an overrun: what a shut plate passes is shared out over more strokes there. Common practice, no source. */
const IDLE_LOAD = 0.33
const OVERRUN_LOAD = 0.2
const MOST_SHUT_LOAD = 0.6

/**
 * Load guessed from speed and throttle, for boards without a pressure sensor; NaN without a throttle. A throttle in its noise below rest is shut.
 * `need` as learned (`LearnedCar.throttleNeed`).
 */
export function guessedLoad(rpm: number, throttlePct: number, need: number, warmIdleRpm: number): number {
  if (Number.isNaN(throttlePct)) return Number.NaN
  const shut = (IDLE_LOAD * warmIdleRpm) / Math.max(rpm, 1)
  return throttleLoad(
    throttlePct / (need * throttleQuickness(rpm)),
    Math.min(MOST_SHUT_LOAD, Math.max(OVERRUN_LOAD, shut)),
  )
}

/**
 * Without a pressure sensor the limit between part throttle and power is that of a middling carburettor, or what a drive has taught of this one: a
 * wide one cruises past it. From so many times the limit on, and from this throttle on at any speed, %, every car is loaded. Chosen here; an owner's
 * own limit is believed.
 */
const SURE_FACTOR = 1.3
const LEARNED_SURE_FACTOR = 1.2
const SURE_THROTTLE_PCT = 75

/** Throttle over rest from which a car without a pressure sensor is surely loaded, %; `need` as learned (`LearnedCar.throttleNeed`). */
export function sureThrottlePct(limits: StateLimits, rpm: number, need: number): number {
  const own = limits.power_throttle_pct * throttleQuickness(rpm)
  if (hasOwnThrottleLimits(limits)) return own
  return Math.min(SURE_THROTTLE_PCT, (need === 1 ? SURE_FACTOR : LEARNED_SURE_FACTOR) * need * own)
}

/** True when the owner has set what the throttle means; nothing learned goes over that. */
export function hasOwnThrottleLimits(limits: StateLimits): boolean {
  return (
    limits.power_throttle_pct !== defaultStateLimits.power_throttle_pct ||
    limits.cruise_throttle_pct !== defaultStateLimits.cruise_throttle_pct
  )
}
