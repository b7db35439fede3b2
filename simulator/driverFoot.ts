import type { Random } from './random.ts'

/** Rate at which a foot leaves the throttle, %/s. */
export const liftRate = 260
/** Time over which a foot trembles, s. */
const trembleS = 0.4

/** A foot on the throttle: moves at a finite rate and trembles a little. */
export class DriverFoot {
  /** Where it stands and where it goes, %. */
  pct = 0
  goal = 0
  private rate = 100
  private tremble = 0
  private readonly trembleSize: number
  private readonly random: Random

  constructor(tremblePct: number, random: Random) {
    this.trembleSize = tremblePct
    this.random = random
  }

  press(goalPct: number, ratePctS: number): void {
    this.goal = goalPct
    this.rate = ratePctS
  }

  /** Moves towards its goal, or off the pedal while the gears are changed. */
  move(dt: number, isLifted: boolean): void {
    const most = (isLifted ? liftRate : this.rate) * dt
    const d = (isLifted ? 0 : this.goal) - this.pct
    this.pct += d > most ? most : Math.max(d, -most)
  }

  /** What the throttle gets, %. */
  pressedPct(dt: number): number {
    const sigma = this.trembleSize
    if (sigma > 0) {
      this.tremble +=
        (-this.tremble / trembleS) * dt + sigma * Math.sqrt((2 * dt) / trembleS) * this.random.normal()
    }
    const pct = this.pct > 1 ? this.pct + this.tremble : this.pct
    return pct < 0 ? 0 : Math.min(pct, 100)
  }
}
