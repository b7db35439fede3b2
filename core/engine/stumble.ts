import type { PointHistory } from './pointHistory.ts'
import type { FastMove } from './tipDetector.ts'

/** Speed must fall or stay flat for over a quarter second (definition of the trade); the smoothing of speed takes a part of it, s. */
const FLAT_S = 0.3
/** The manifold fills and the driveline winds up first, s; chosen here. */
const FILL_S = 0.2
/** A sag so long after the throttle stopped is no part of the opening, s. */
const AFTER_S = 0.6
/** Loss of speed that a gear change shows and a stumble does not, share of the speed in `SHIFT_S`. */
const SHIFT_SHARE = 0.12
/** Change of engine speed per road speed that means another gear or a slipping clutch. */
const RATIO_CHANGE = 0.06
/** Below this the car does not move, m/s. */
const MOVING_MS = 0.8

/**
 * Whether engine speed fell or stayed flat for over 0.25 s while the throttle opened, in gear. Null when it cannot be told: no engine speed, or
 * the car stands, or the gear changed.
 */
export function findStumble(history: PointHistory, move: FastMove, untilS: number): boolean | null {
  const { mask, timeS, rpm, roadSpeedMs, throttlePct } = history
  let n = Math.max(history.first, move.startPoint)
  while (n < history.end && timeS[n & mask] < move.startS) n++
  const startRpm = rpm[n & mask]
  if (!(startRpm > 0)) return null
  const startSpeed = roadSpeedMs[n & mask]
  const hasSpeed = !Number.isNaN(startSpeed)
  if (hasSpeed && startSpeed < MOVING_MS) return null
  const startThrottle = throttlePct[n & mask]
  const fromS = move.startS + FILL_S
  let lowestRise = Number.POSITIVE_INFINITY
  let right = n
  let isShift = false
  let mostRise = 0
  for (let k = n; k < history.end; k++) {
    const t = timeS[k & mask]
    if (t + FLAT_S > untilS || t + FLAT_S > move.endS + AFTER_S) break
    if (throttlePct[k & mask] < startThrottle + 0.5 * Math.min(8, move.size)) {
      if (t > move.endS) break
    }
    if (rpm[k & mask] < startRpm * (1 - SHIFT_SHARE)) isShift = true
    if (hasSpeed && roadSpeedMs[k & mask] > MOVING_MS) {
      const ratio = rpm[k & mask] / roadSpeedMs[k & mask] / (startRpm / startSpeed)
      if (Math.abs(ratio - 1) > RATIO_CHANGE + 0.15) isShift = true
    }
    while (right + 1 < history.end && timeS[right & mask] < t + FLAT_S) right++
    const rise = rpm[right & mask] - rpm[k & mask]
    if (t >= fromS) lowestRise = Math.min(lowestRise, rise)
    mostRise = Math.max(mostRise, rise)
  }
  if (isShift || lowestRise === Number.POSITIVE_INFINITY) return null
  // In neutral the engine runs away at once.
  if (!hasSpeed && mostRise > 0.35 * startRpm) return null
  return lowestRise <= 0
}
