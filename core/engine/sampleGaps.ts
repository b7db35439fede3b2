/** A silence longer than this, or than so many usual steps, is a gap; common practice, no source. */
const GAP_S = 0.5
const GAP_PERIODS = 5
/** Share by which the usual step follows the newest; and the most that one step counts, in usual steps. */
const FOLLOW_SHARE = 0.02
const MOST_PERIODS = 4

/** Follows the usual step between samples, and tells which silences are gaps. */
export class SampleGaps {
  /** Time of the newest sample, and the usual step, s; NaN before any. */
  lastS = Number.NaN
  periodS = Number.NaN

  /** True when the silence before a sample at this time is a gap. */
  isGapBefore(timeS: number): boolean {
    const stepS = timeS - this.lastS
    return stepS > GAP_S && stepS > GAP_PERIODS * this.periodS
  }

  /** Takes a sample's time. */
  add(timeS: number): void {
    const stepS = timeS - this.lastS
    if (stepS > 0 && !this.isGapBefore(timeS)) {
      const periodS = this.periodS
      this.periodS = !Number.isNaN(periodS)
        ? periodS + FOLLOW_SHARE * (Math.min(stepS, MOST_PERIODS * periodS) - periodS)
        : stepS
    }
    this.lastS = timeS
  }
}
