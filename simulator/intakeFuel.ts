import type { ParameterValues } from './parameters.ts'
import { carburettorFilmInto, coolFilm, type FilmParameters, injectedFilmInto } from './wallFilm.ts'

/** Below this no cylinder draws fuel, rpm and g/s of air. */
const leastRpm = 30
const leastAirGS = 1e-3

/** What happens to the fuel between nozzle and cylinder: a film on the wall, and a volume in which it mixes. */
export class IntakeFuel {
  private readonly isInjected: boolean
  private readonly shareScale: number
  private readonly timeScale: number
  private readonly fixedShare: number
  private readonly fixedTimeS: number
  private readonly plenumShare: number
  private readonly film: FilmParameters = { share: 0.5, timeS: 1 }
  private filmG = 0
  private vapourG = 0

  constructor(p: ParameterValues, isInjected: boolean) {
    this.isInjected = isInjected
    this.shareScale = p['film.share_scale']
    this.timeScale = p['film.time_scale']
    this.fixedShare = p['film.fixed_share']
    this.fixedTimeS = p['film.fixed_time_s']
    this.plenumShare = p['film.plenum_share']
  }

  /**
   * Fuel that reaches the cylinders, g/s, for what is given at the nozzles. `chargeG` is the charge that stands in the manifold, `cold`
   * how cold its wall is.
   */
  stepGS(
    dt: number,
    givenGS: number,
    rpm: number,
    manifoldPa: number,
    chargeG: number,
    cylinderAirGS: number,
    cold: number,
  ): number {
    const film = this.film
    if (this.isInjected) injectedFilmInto(film, rpm, manifoldPa / 1e5)
    else carburettorFilmInto(film, rpm, manifoldPa / 1e5)
    coolFilm(film, cold)
    let share = film.share * this.shareScale
    let timeS = film.timeS * this.timeScale
    if (this.fixedShare >= 0) share = this.fixedShare
    if (this.fixedTimeS > 0) timeS = this.fixedTimeS
    const keep = Math.exp(-dt / timeS)
    const landing = share * givenGS
    const settled = landing * timeS
    const before = this.filmG
    this.filmG = settled + (before - settled) * keep
    const evaporated = landing + (before - this.filmG) / dt
    const entering = (1 - share) * givenGS + evaporated
    // Part of the manifold's volume mixes: fuel in it lags as the charge in it does.
    const plenumG = this.plenumShare * chargeG
    if (!(rpm > leastRpm && cylinderAirGS > leastAirGS)) return 0
    const leave = plenumG > 1e-6 ? 1 - Math.exp((-cylinderAirGS * dt) / plenumG) : 1
    const total = this.vapourG + entering * dt
    const drawn = plenumG > 1e-6 ? this.vapourG * leave + entering * dt * 0.5 * leave : total
    this.vapourG = total - drawn
    return drawn / dt
  }
}
