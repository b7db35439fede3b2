import type { StateLimits } from './stateLimits.ts'

/** Off for longer than this is a stop, not a stall, s; common practice, no source. */
const STALL_RESTART_S = 60
/** No engine runs so slowly: one that ran has died, though the starter may catch it before it stands, rpm; common practice, no source. */
const DEAD_RPM = 250
/** The starter has it again when speed has risen by so much since it died, rpm. */
const CAUGHT_RPM = 60
/** A stall so soon after the throttle was released died of the release, s. */
const RELEASE_S = 3
/** An older engine idles by itself from about here, °C (trade): a stall below it may be the choke's. */
export const CHOKE_COLD_C = 48

/** Follows engine speed from key to key: cranking, first fire, stalls and restarts. Times are capture seconds; NaN = not seen. */
export interface StartTracker {
  /** Seconds of cranking before the first fire, all attempts together. */
  crankS: number
  firstFireS: number
  startCoolantC: number
  hasFired: boolean
  stalls: number
  /** Stalls below `CHOKE_COLD_C`. */
  coldStalls: number
  /** Stalls soon after the throttle was released. */
  diesOnRelease: number
  restarts: number
  /** Takes one moment. @returns true while the engine runs after a start that was seen */
  point(timeS: number, rpm: number, coolantC: number): boolean
  /** The throttle was let go at this time. */
  released(timeS: number): void
}

export function createStartTracker(limits: StateLimits): StartTracker {
  // Fields of an object, so that no number is boxed at each point.
  const now = { crankFromS: Number.NaN, earlierCrankS: 0, lastReleaseS: Number.NaN }
  let wasOff = false
  let offFromS = Number.NaN
  let offWasStall = false
  let leastSinceDeathRpm = Number.NaN
  let deathC = Number.NaN

  const tracker: StartTracker = {
    crankS: Number.NaN,
    firstFireS: Number.NaN,
    startCoolantC: Number.NaN,
    hasFired: false,
    stalls: 0,
    coldStalls: 0,
    diesOnRelease: 0,
    restarts: 0,
    point(t, rpm, coolantC) {
      if (tracker.hasFired && rpm < DEAD_RPM) onDeath(t, coolantC)
      if (rpm < limits.off_rpm) {
        leastSinceDeathRpm = Math.min(leastSinceDeathRpm, rpm)
        wasOff = true
        if (!Number.isNaN(now.crankFromS)) now.earlierCrankS += t - now.crankFromS
        now.crankFromS = Number.NaN
        return false
      }
      if (!tracker.hasFired) {
        if (rpm <= limits.fire_rpm) {
          onCranking(t, rpm)
          return false
        }
        onRunning(t, coolantC)
      }
      return !Number.isNaN(tracker.firstFireS)
    },
    released(timeS) {
      now.lastReleaseS = timeS
    },
  }

  function onCranking(t: number, rpm: number): void {
    // Of an engine that runs down, only speed that rises again tells of the starter.
    leastSinceDeathRpm = Math.min(leastSinceDeathRpm, rpm)
    const isCaught = Number.isNaN(offFromS) || rpm > leastSinceDeathRpm + CAUGHT_RPM
    if (!Number.isNaN(now.crankFromS) || !isCaught) return
    now.crankFromS = t
    wasOff = true
    countStall(t)
  }

  function onRunning(t: number, coolantC: number): void {
    // It runs on before a cranking speed was seen.
    if (!Number.isNaN(offFromS)) {
      wasOff = true
      countStall(t)
    }
    // A run that begins with the engine running has no start to tell of.
    if (wasOff) onFire(t, coolantC)
    tracker.hasFired = true
  }

  function onFire(t: number, coolantC: number): void {
    if (Number.isNaN(tracker.crankS) && !Number.isNaN(now.crankFromS))
      tracker.crankS = now.earlierCrankS + t - now.crankFromS
    if (Number.isNaN(tracker.firstFireS)) {
      tracker.firstFireS = t
      tracker.startCoolantC = coolantC
    } else tracker.restarts++
  }

  function onDeath(t: number, coolantC: number): void {
    tracker.hasFired = false
    offFromS = t
    leastSinceDeathRpm = Number.POSITIVE_INFINITY
    deathC = coolantC
    now.crankFromS = Number.NaN
    offWasStall = t - now.lastReleaseS <= RELEASE_S
  }

  function countStall(t: number): void {
    if (t - offFromS < STALL_RESTART_S) {
      tracker.stalls++
      if (deathC < CHOKE_COLD_C) tracker.coldStalls++
      if (offWasStall) tracker.diesOnRelease++
    }
    offFromS = Number.NaN
  }

  return tracker
}
