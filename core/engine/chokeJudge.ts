import type { WarmUp } from '../contract/result.ts'
import { stateCode } from './operatingState.ts'
import { CHOKE_COLD_C } from './startTracker.ts'
import type { StateLimits } from './stateLimits.ts'
import type { TargetFinder } from './targetLambda.ts'

const BIN_C = 5
const BINS = 32
const FIRST_BIN_C = -30
/** Leaner than this it is no mixture that burns, λ. */
const MOST_LAMBDA = 1.6
/** A step of coolant is told from so many seconds on. */
const LEAST_BIN_S = 1
/** Least λ seconds of warm-up for a word on the choke. */
const LEAST_CHOKE_S = 20
/** Unsteady: engine speed at rest scatters by more than this share over two seconds. */
const UNSTEADY_SHARE = 0.045
const LEAST_UNEVEN_S = 5
/** Lean over its band for such shares of the cold time is early: the first if the engine is unsteady or stalls, the second by itself. */
const EARLY_SHARE = 0.3
const SURELY_EARLY_SHARE = 0.5
/** Late: rich under its band for such a share of the time above this coolant, °C, of which there must be so much, s. */
const CHOKE_UPPER_C = 25
const LATE_SHARE = 0.4
const LEAST_LATE_S = 10
/**
 * Late too: up to the first of these the just warm engine's mixture in cruise is richer than over the second, °C, by more than the band of
 * the warm-up; of either there must be so much, s. An open choke leaves no such difference. Chosen here.
 */
const MILD_TO_C = 70
const HOT_FROM_C = 78
const LEAST_MILD_S = 10
const LEAST_HOT_S = 30
/**
 * What the warm engine's mixture is off by is the jets' doing, cold as well as warm, and none of the choke's: unless it clears up, from the first
 * so many warm seconds to the rest, by more than this, λ, which jets never do. So many seconds are needed on either side; more than this, λ, is not
 * laid to the jets. Chosen here.
 */
const FIRST_WARM_S = 200
const CLEARS_UP = 0.012
const LEAST_JETS_S = 30
const MOST_JETS_OFF = 0.15
/** Leaner than its target by this on the whole, an engine that stalls does so for want of fuel. */
const EARLY_LEAN = 0.02

/** λ of the warm-up against coolant temperature and its target, and what it says of the choke. */
export interface ChokeJudge {
  lambda(lambda: number, coolantC: number, state: number, dtS: number): void
  /** Engine speed with the throttle at rest while cold: its scatter around a slow mean tells how even the engine runs. */
  coldIdle(rpm: number, dtS: number): void
  /** The stretch of cold idle is over. */
  leaveIdle(): void
  verdict(coldStalls: number): WarmUp['choke']
  byCoolant(): [number, number, number][]
}

export function createChokeJudge(limits: StateLimits, targets: TargetFinder): ChokeJudge {
  const lambdaSum = new Float64Array(BINS)
  const coolantSum = new Float64Array(BINS)
  const binS = new Float64Array(BINS)
  const offSum = new Float64Array(BINS)
  // Fields of an object, so that no number is boxed at each point.
  const now = {
    slowRpm: Number.NaN,
    unevenSum: 0,
    unevenS: 0,
    chokeOffSum: 0,
    chokeS: 0,
    warmS: 0,
    firstOffSum: 0,
    restS: 0,
    restOffSum: 0,
    mildS: 0,
    mildOffSum: 0,
    hotS: 0,
    hotOffSum: 0,
  }

  const cold = new OffSeconds()
  const upper = new OffSeconds()

  /** Cold seconds by how far they are off target, all of them and those in which a choke should be letting go. */
  function addCold(off: number, coolantC: number, dtS: number): void {
    cold.add(off, dtS)
    if (coolantC > CHOKE_UPPER_C) upper.add(off, dtS)
    if (coolantC < CHOKE_COLD_C) {
      now.chokeOffSum += off * dtS
      now.chokeS += dtS
    }
  }

  function addWarm(state: number, off: number, coolantC: number, dtS: number): void {
    now.warmS += dtS
    if (now.warmS <= FIRST_WARM_S) now.firstOffSum += off * dtS
    else {
      now.restS += dtS
      now.restOffSum += off * dtS
    }
    if (state !== stateCode.cruise) return
    if (coolantC < MILD_TO_C) {
      now.mildS += dtS
      now.mildOffSum += off * dtS
    } else if (coolantC > HOT_FROM_C) {
      now.hotS += dtS
      now.hotOffSum += off * dtS
    }
  }

  /** What the jets alone put the cold mixture off by, λ; 0 where too little was driven warm, or a choke still feeds there. */
  function offByJets(): number {
    if (now.restS < LEAST_JETS_S) return 0
    const first = now.firstOffSum / (now.warmS - now.restS)
    const rest = now.restOffSum / now.restS
    return rest - first > CLEARS_UP ? 0 : Math.max(-MOST_JETS_OFF, Math.min(MOST_JETS_OFF, rest))
  }

  return {
    lambda(lambda, coolantC, state, dtS) {
      if (!(lambda < MOST_LAMBDA) || Number.isNaN(coolantC)) return
      if (state === stateCode.overrun || state === stateCode.tip_in || state === stateCode.tip_out) return
      if (state === stateCode.power || state === stateCode.off || state === stateCode.cranking) return
      const bin = Math.max(0, Math.min(BINS - 1, ((coolantC - FIRST_BIN_C) / BIN_C) | 0))
      const targetState = coolantC < limits.warm_C ? stateCode.warm_up : state
      const off = lambda - targets.lambda(targetState, coolantC)
      lambdaSum[bin] += lambda * dtS
      coolantSum[bin] += coolantC * dtS
      offSum[bin] += off * dtS
      binS[bin] += dtS
      if (Number.isNaN(off)) return
      if (coolantC < limits.warm_C) addCold(off, coolantC, dtS)
      else addWarm(state, off, coolantC, dtS)
    },
    coldIdle(rpm, dtS) {
      now.slowRpm = !Number.isNaN(now.slowRpm) ? now.slowRpm + Math.min(1, dtS) * (rpm - now.slowRpm) : rpm
      now.unevenSum += ((rpm - now.slowRpm) / now.slowRpm) ** 2 * dtS
      now.unevenS += dtS
    },
    leaveIdle() {
      now.slowRpm = Number.NaN
    },
    verdict(coldStalls) {
      if (cold.seconds < LEAST_CHOKE_S) return 'unknown'
      const band = targets.targets.warm_up
      const ofJets = offByJets()
      const uneven = now.unevenS > LEAST_UNEVEN_S ? Math.sqrt(now.unevenSum / now.unevenS) : 0
      const isUnsteady = uneven > UNSTEADY_SHARE || coldStalls > 0
      const leanShare = isUnsteady ? EARLY_SHARE : SURELY_EARLY_SHARE
      if (cold.over(band.lean + ofJets) > leanShare * cold.seconds) return 'early'
      if (coldStalls > 0 && now.chokeOffSum > (EARLY_LEAN + ofJets) * now.chokeS) return 'early'
      const isRich = upper.seconds - upper.over(ofJets - band.rich) > LATE_SHARE * upper.seconds
      if (upper.seconds > LEAST_LATE_S && isRich && uneven < UNSTEADY_SHARE) return 'late'
      const isLate =
        now.mildS > LEAST_MILD_S &&
        now.hotS > LEAST_HOT_S &&
        now.mildOffSum / now.mildS < now.hotOffSum / now.hotS - band.rich
      return isLate ? 'late' : 'fine'
    },
    byCoolant() {
      const rows: [number, number, number][] = []
      for (let bin = 0; bin < BINS; bin++) {
        if (binS[bin] < LEAST_BIN_S) continue
        const lambda = lambdaSum[bin] / binS[bin]
        rows.push([coolantSum[bin] / binS[bin], lambda, lambda - offSum[bin] / binS[bin]])
      }
      return rows
    },
  }
}

const OFF_STEP = 0.01
const OFF_STEPS = 64

/** Seconds by how far λ was off its target, in steps of 0.01, so that the limit may be told at the end. */
class OffSeconds {
  readonly #steps = new Float64Array(2 * OFF_STEPS)
  seconds = 0

  add(off: number, dtS: number): void {
    const step = Math.floor(off / OFF_STEP) + OFF_STEPS
    this.#steps[Math.max(0, Math.min(2 * OFF_STEPS - 1, step))] += dtS
    this.seconds += dtS
  }

  /** Seconds in which λ was off by more than this; the step in which the limit lies counts by its part beyond it. */
  over(limit: number): number {
    const at = Math.max(0, Math.min(2 * OFF_STEPS - 1, limit / OFF_STEP + OFF_STEPS))
    const whole = Math.floor(at)
    let sum = this.#steps[whole] * (whole + 1 - at)
    for (let step = whole + 1; step < 2 * OFF_STEPS; step++) sum += this.#steps[step]
    return sum
  }
}
