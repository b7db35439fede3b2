import type { Engine } from './engine.ts'

const lastsS = 10
const band = 0.12

/** Watches for the first time the engine idles by itself: foot off for 10 s with speed within ±12 % of its own mean, no stall. */
export class SelfIdleWatch {
  private done = false
  private sinceS = Number.NaN
  private sum = 0
  private count = 0
  private least = 0
  private most = 0

  /** True at the one sample that completes the ten seconds. */
  push(timeS: number, engine: Engine): boolean {
    if (this.done) return false
    const { rpm } = engine
    const atRest = engine.controls.footPct < 1 && engine.fired && rpm > 300 && engine.speedMs < 0.2
    if (!atRest) {
      this.sinceS = Number.NaN
      return false
    }
    if (Number.isNaN(this.sinceS)) {
      this.sinceS = timeS
      this.sum = 0
      this.count = 0
      this.least = rpm
      this.most = rpm
    }
    this.sum += rpm
    this.count++
    if (rpm < this.least) this.least = rpm
    if (rpm > this.most) this.most = rpm
    const mean = this.sum / this.count
    if (this.least < (1 - band) * mean || this.most > (1 + band) * mean) {
      this.sinceS = Number.NaN
      return false
    }
    this.done = timeS - this.sinceS >= lastsS
    return this.done
  }
}
