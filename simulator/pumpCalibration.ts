import { type SteadyPoint, steadyPoint } from './calibration.ts'
import { chargeTemperatureK, type EngineBase } from './engineBase.ts'
import type { Metering } from './metering.ts'
import { airGasConstant, flowFactorFast } from './throttleFlow.ts'
import { type FilmParameters, filmParametersInto } from './wallFilm.ts'

/** Share of the pump's stroke made at a throttle opening (0 … 1): cams act early. Chosen here, common practice, no source. */
export function pumpStroke(throttlePct: number): number {
  const rest = 1 - (throttlePct < 0 ? 0 : throttlePct > 100 ? 100 : throttlePct) / 100
  return 1 - rest * rest * rest
}

/** Shot flow of so much pending fuel, g/s: the duration spring's push falls with its travel. */
export function shotFlowGS(pendingG: number, strokeG: number, rateGS: number): number {
  if (!(pendingG > 0) || !(strokeG > 0)) return 0
  const share = pendingG / strokeG
  return rateGS * Math.sqrt(share > 1 ? 1 : share)
}

interface Reference {
  leakMm2: number
  primaryMostGS: number
  idle: SteadyPoint
  cruise: SteadyPoint
}

interface Opening {
  from: number
  to: number
  rpm: number
}

const stepS = 0.01
const openingS = 0.15

/** Worst departure of cylinder mixture from its settled value over an opening at constant speed, in ln λ, lean counted double. */
function departure(
  base: EngineBase,
  metering: Metering,
  at: Reference,
  o: Opening,
  strokeG: number,
  rateGS: number,
): number {
  const chargeK = chargeTemperatureK(base.air.temperatureK, 85)
  const film: FilmParameters = { share: 0, timeS: 0 }
  const p = base.p
  let { manifoldPa } = steadyPoint(base, at.leakMm2, o.from, o.rpm, at.primaryMostGS, 1)
  const fillPaPerG = (airGasConstant * chargeK) / p['engine.manifold_L']
  let filmG = Number.NaN
  let pendingG = 0
  let stroke = pumpStroke(o.from)
  let sum = 0
  for (let t = 0; t < 2.2; t += stepS) {
    const pct = t < openingS ? o.from + ((o.to - o.from) * t) / openingS : o.to
    const area = at.leakMm2 + base.throttleAreaMm2(pct)
    // Two half steps keep the stiff filling near full opening calm.
    for (let k = 0; k < 4; k++) {
      const flow = base.throttleFlowGS(area, manifoldPa) - base.pumpedGS(o.rpm, manifoldPa, chargeK)
      manifoldPa += (flow * fillPaPerG * stepS) / 4
      if (manifoldPa > base.air.pressurePa * 0.995) manifoldPa = base.air.pressurePa * 0.995
    }
    const air = base.throttleFlowGS(area, manifoldPa)
    const cylinder = base.pumpedGS(o.rpm, manifoldPa, chargeK)
    metering.meter(
      air,
      pct,
      flowFactorFast(manifoldPa / base.air.pressurePa),
      base.air.pressurePa,
      manifoldPa,
      base.air.densityKgM3,
      0,
      0,
      0,
      false,
    )
    const next = pumpStroke(pct)
    pendingG += (next - stroke) * strokeG
    stroke = next
    const shot = Math.min(shotFlowGS(pendingG, strokeG, rateGS), pendingG / stepS)
    pendingG -= shot * stepS
    filmParametersInto(film, o.rpm, manifoldPa / 1e5, 0)
    const share = film.share * p['film.share_scale']
    const timeS = film.timeS * p['film.time_scale']
    const metered = metering.fuelGS
    if (Number.isNaN(filmG)) filmG = share * timeS * metered
    const given = metered + shot
    const fuel = (1 - share) * given + filmG / timeS
    filmG += (share * given - filmG / timeS) * stepS
    const off = Math.log((cylinder / fuel) * (metered / air))
    sum += off > 0 ? 2 * off * off : off * off
  }
  return sum
}

/** The stroke and rate that leave the least departure over openings from idle and from cruise: what a well-set pump does. */
export function findPumpShot(
  base: EngineBase,
  metering: Metering,
  at: Reference,
): { strokeG: number; rateGS: number } {
  const cruisePct = at.cruise.throttlePct
  const openings: Opening[] = [
    { from: 0, to: 14, rpm: at.idle.rpm * 1.6 },
    { from: 0, to: 30, rpm: at.idle.rpm * 2.2 },
    { from: cruisePct, to: Math.min(cruisePct + 25, 100), rpm: at.cruise.rpm },
    { from: cruisePct, to: Math.min(cruisePct + 45, 100), rpm: at.cruise.rpm },
  ]
  const score = (strokeG: number, rateGS: number) => {
    let total = 0
    for (const opening of openings) total += departure(base, metering, at, opening, strokeG, rateGS)
    return total
  }
  const scale = base.p['engine.displacement_L']
  let strokeG = 0.15 * scale
  let rateGS = 0.3 * scale
  let best = score(strokeG, rateGS)
  for (const factor of [2, 1.4, 1.18, 1.08]) {
    for (let improved = true; improved; ) {
      improved = false
      for (const [a, b] of [
        [factor, 1],
        [1 / factor, 1],
        [1, factor],
        [1, 1 / factor],
      ]) {
        const s = score(strokeG * a, rateGS * b)
        if (s < best * 0.999) {
          best = s
          strokeG *= a
          rateGS *= b
          improved = true
        }
      }
    }
  }
  return { strokeG, rateGS }
}
