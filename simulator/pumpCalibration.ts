import { chargeTemperatureK, type EngineBase } from './engineBase.ts'
import type { Metering } from './metering.ts'
import { type SteadyPoint, steadyPoint } from './steadyPoint.ts'
import { airGasConstant, flowFactorFast } from './throttleFlow.ts'
import { carburettorFilmInto, type FilmParameters } from './wallFilm.ts'

/** Share of the pump's stroke made at a throttle opening (0 … 1): cams act early. Chosen here, common practice, no source. */
export function pumpStroke(throttlePct: number): number {
  const rest = 1 - (throttlePct < 0 ? 0 : Math.min(throttlePct, 100)) / 100
  return 1 - rest * rest * rest
}

/** Shot flow of so much pending fuel, g/s: the duration spring's push falls with its travel. */
export function shotFlowGS(pendingG: number, strokeG: number, rateGS: number): number {
  if (!(pendingG > 0) || !(strokeG > 0)) return 0
  const share = pendingG / strokeG
  return rateGS * Math.sqrt(Math.min(share, 1))
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
  /** How fast the engine picks up, rpm/s: a free rev from idle, or a car that has hardly begun to gain speed. */
  gain: number
}

const stepS = 0.01
const openingS = 0.15

/** Departure of cylinder mixture from its settled value over an opening, in squared ln λ, lean counted sixfold. */
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
  let vapourG = 0
  let pendingG = 0
  let stroke = pumpStroke(o.from)
  let sum = 0
  for (let t = 0; t < 2.2; t += stepS) {
    const rpm = o.rpm + o.gain * Math.min(Math.max(t - 0.1, 0), 0.8)
    const pct = t < openingS ? o.from + ((o.to - o.from) * t) / openingS : o.to
    const area = at.leakMm2 + base.throttleAreaMm2(pct)
    // Two half steps keep the stiff filling near full opening calm.
    for (let k = 0; k < 4; k++) {
      const flow = base.throttleFlowGS(area, manifoldPa) - base.pumpedGS(rpm, manifoldPa, chargeK)
      manifoldPa += (flow * fillPaPerG * stepS) / 4
      if (manifoldPa > base.air.pressurePa * 0.995) manifoldPa = base.air.pressurePa * 0.995
    }
    const air = base.throttleFlowGS(area, manifoldPa)
    const cylinder = base.pumpedGS(rpm, manifoldPa, chargeK)
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
    carburettorFilmInto(film, rpm, manifoldPa / 1e5)
    const share = film.share * p['film.share_scale']
    const timeS = film.timeS * p['film.time_scale']
    const metered = metering.fuelGS
    if (Number.isNaN(filmG)) filmG = share * timeS * metered
    const given = metered + shot
    const entering = (1 - share) * given + filmG / timeS
    filmG += (share * given - filmG / timeS) * stepS
    const plenumG = (p['film.plenum_share'] * manifoldPa) / fillPaPerG
    if (t === 0) vapourG = (plenumG * entering) / cylinder
    const leave = plenumG > 1e-6 ? 1 - Math.exp((-cylinder * stepS) / plenumG) : 1
    const drawn = vapourG * leave + entering * stepS * 0.5 * leave
    vapourG += entering * stepS - drawn
    const fuel = plenumG > 1e-6 ? drawn / stepS : entering
    const off = Math.log((cylinder / fuel) * (metered / air))
    sum += off > 0 ? 6 * off * off : off * off
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
  const idleRpm = at.idle.rpm
  const openings: Opening[] = [
    { from: 0, to: 18, rpm: idleRpm, gain: 2200 },
    { from: 0, to: 28, rpm: idleRpm, gain: 3000 },
    { from: cruisePct, to: Math.min(cruisePct + 25, 100), rpm: at.cruise.rpm, gain: 60 },
    { from: cruisePct, to: Math.min(cruisePct + 45, 100), rpm: at.cruise.rpm, gain: 120 },
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
