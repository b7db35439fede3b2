import { fitCircuits, jettingPoints } from './circuitFit.ts'
import { chargeTemperatureK, coldness, EngineBase, unburntShare } from './engineBase.ts'
import { Metering, type MeteringCoefficients } from './metering.ts'
import type { ParameterValues } from './parameters.ts'
import { resolveParameters } from './parameters.ts'
import { type PartEffects, partEffects } from './partEffects.ts'
import { findPumpShot } from './pumpCalibration.ts'
import type { SimCar } from './simCar.ts'
import { aimedLambda, bisect, type SteadyPoint, steadyFuel, steadyPoint, warmWallC } from './steadyPoint.ts'

/** What the car's maker and last good mechanic settled: throttle stop, fast idle, coefficients of the circuits, pump. */
export interface Calibration {
  /** Air area at the throttle stop, mm². */
  leakMm2: number
  /** Throttle opening of the fast-idle cam on its highest step, %. */
  fastIdlePct: number
  /** Greatest flow of the primaries alone, g/s. */
  primaryMostGS: number
  /** Air flow at warm idle and at the cruise point, g/s. */
  idleAirGS: number
  cruiseAirGS: number
  coefficients: MeteringCoefficients
  /** Pump: mass of a whole stroke, g, and delivery rate of a full pump through the right squirter, g/s. */
  pumpStrokeG: number
  pumpRateGS: number
}

/** Wheel force to hold a speed on the level, N. */
export function roadForceN(p: ParameterValues, speedMs: number, densityKgM3: number, gradePct = 0): number {
  return (
    0.5 * densityKgM3 * p['vehicle.drag_area_m2'] * speedMs * speedMs +
    p['vehicle.mass_kg'] * 9.81 * (p['vehicle.rolling'] + gradePct / 100)
  )
}

/** Engine speed of a road speed in a gear (1 = first), with the converter's usual slip. */
export function rpmOfSpeed(p: ParameterValues, speedMs: number, gear: number): number {
  const ratio = p[`vehicle.gear_${gear}` as 'vehicle.gear_1'] * p['vehicle.final_drive']
  return ((speedMs * 60) / p['vehicle.tyre_m']) * ratio * (p['vehicle.automatic'] > 0.5 ? 1.04 : 1)
}

/** Share of engine power that reaches the wheels; common practice, no source. */
export const drivelineEfficiency = 0.88

/** Throttle that holds a road speed in a gear on a slope, and the steady point there; undefined if full throttle is too little. */
export function roadPoint(
  base: EngineBase,
  leakMm2: number,
  primaryMostGS: number,
  speedMs: number,
  gear: number,
  lambda: number,
  gradePct = 0,
): SteadyPoint | undefined {
  const p = base.p
  const rpm = rpmOfSpeed(p, speedMs, gear)
  const wheelNm =
    (roadForceN(p, speedMs, base.air.densityKgM3, gradePct) * p['vehicle.tyre_m']) / (2 * Math.PI)
  const ratio = p[`vehicle.gear_${gear}` as 'vehicle.gear_1'] * p['vehicle.final_drive']
  const wantedNm = wheelNm / ratio / drivelineEfficiency
  const torqueAt = (pct: number) => {
    const point = steadyPoint(base, leakMm2, pct, rpm, primaryMostGS, 1)
    return (
      base.indicatedTorqueNm(point.airGS, rpm, point.manifoldPa / base.air.pressurePa, lambda) -
      base.lossTorqueNm(rpm, point.manifoldPa, 0)
    )
  }
  if (torqueAt(100) < wantedNm) return undefined
  const pct = bisect(0, 100, (x) => torqueAt(x) < wantedNm)
  return steadyPoint(base, leakMm2, pct, rpm, primaryMostGS, 1)
}

/** Running points at which cruise is judged: steady road speeds in the upper gears. */
function cruisePoints(base: EngineBase, leakMm2: number, mostGS: number): SteadyPoint[] {
  const top = Math.round(base.p['vehicle.gears'])
  const out: SteadyPoint[] = []
  for (const gear of [Math.max(top - 1, 1), top]) {
    for (const kmh of [40, 55, 70, 85, 100]) {
      const point = roadPoint(base, leakMm2, mostGS, kmh / 3.6, gear, aimedLambda.cruise)
      if (
        point &&
        point.rpm > 1.3 * base.p['engine.idle_rpm'] &&
        point.manifoldPa < 0.6 * base.air.pressurePa
      )
        out.push(point)
    }
  }
  if (out.length > 0) return out.sort((a, b) => a.airGS - b.airGS)
  const rpm = Math.max(rpmOfSpeed(base.p, 60 / 3.6, top), 1500)
  const pct = bisect(
    0,
    100,
    (x) => steadyPoint(base, leakMm2, x, rpm, mostGS, 1).manifoldPa < 0.5 * base.air.pressurePa,
  )
  return [steadyPoint(base, leakMm2, pct, rpm, mostGS, 1)]
}

const rightEffects = (car: SimCar): PartEffects => partEffects(car.right, car.right)
const cache = new WeakMap<SimCar, Calibration>()

/** Finds the coefficients that put the right parts on target at reference air (20 °C, 100 kPa, dry). Once for each car. */
export function calibrate(car: SimCar): Calibration {
  const known = cache.get(car)
  if (known) return known
  const p = resolveParameters(car.parameters, {
    'air.temperature_C': 20,
    'air.pressure_kPa': 100,
    'air.humidity_pct': 0,
  })
  const base = new EngineBase(p)
  const stoich = p['engine.stoichiometric_ratio']
  const warmK = chargeTemperatureK(base.air.temperatureK, warmWallC)

  const balanceArea = (rpm: number, lambda: number, wallC: number) => {
    const cold = coldness(wallC)
    const chargeK = chargeTemperatureK(base.air.temperatureK, wallC)
    return bisect(1, base.boreAreaMm2, (area) => {
      const manifoldPa = base.steadyManifoldPa(area, rpm, chargeK)
      const torque = base.indicatedTorqueNm(
        base.pumpedGS(rpm, manifoldPa, chargeK),
        rpm,
        manifoldPa / base.air.pressurePa,
        lambda / (1 - unburntShare(cold)),
      )
      return torque < base.lossTorqueNm(rpm, manifoldPa, cold)
    })
  }
  const idleRpm = p['engine.idle_rpm']
  const leakMm2 = balanceArea(idleRpm, aimedLambda.idle, warmWallC)
  const idlePa = base.steadyManifoldPa(leakMm2, idleRpm, warmK)
  const idle: SteadyPoint = {
    rpm: idleRpm,
    throttlePct: 0,
    manifoldPa: idlePa,
    airGS: base.pumpedGS(idleRpm, idlePa, warmK),
    secondaryOpen: 0,
  }
  const primaryMostGS = steadyPoint(base, leakMm2, 40, 0.85 * p['engine.redline_rpm'], 1e9, 1).airGS * 1.08

  const c: MeteringCoefficients = {
    idle: 1,
    main: 1,
    power: 1,
    secondary: 1,
    startPa: 0,
    cruisePa: 0,
    trend: 0.1,
    coupling: 0.8,
    slotArea: 0.6,
    slotEndPct: 5,
    bleedRatio: 0.35,
    chokePa: 0,
    chokeCrankPa: 0,
    chokeFlowGS: 1,
  }
  const parts = rightEffects(car)
  const metering = new Metering(p, parts, c)
  const rho = base.air.densityKgM3

  const cruise = cruisePoints(base, leakMm2, primaryMostGS)
  const middle = cruise[Math.floor(cruise.length / 2)]
  c.cruisePa = metering.primarySignalPa(middle.airGS, rho)
  fitCircuits(base, metering, c, jettingPoints(base, leakMm2, primaryMostGS, idle, cruise))

  // Cold fast idle at 20 °C, choke pulled off, and cranking with the choke shut.
  const coldC = 20
  const coldK = chargeTemperatureK(base.air.temperatureK, coldC)
  const fastRpm = p['engine.fast_idle_rpm']
  const fastMm2 = balanceArea(fastRpm, p['choke.cold_lambda'], coldC)
  const fastPa = base.steadyManifoldPa(fastMm2, fastRpm, coldK)
  const fastIdlePct = bisect(0, 60, (pct) => leakMm2 + base.throttleAreaMm2(pct) < fastMm2)
  const fast: SteadyPoint = {
    rpm: fastRpm,
    throttlePct: fastIdlePct,
    manifoldPa: fastPa,
    airGS: base.pumpedGS(fastRpm, fastPa, coldK),
    secondaryOpen: 0,
  }
  c.chokeFlowGS = 1.3 * fast.airGS
  c.chokePa = bisect(0, 1000, (k) => {
    c.chokePa = k
    return fast.airGS / stoich / steadyFuel(base, metering, fast, 1) > p['choke.cold_lambda']
  })
  const crank = steadyPoint(base, leakMm2, fastIdlePct, 200, primaryMostGS, 1, coldC)
  c.chokeCrankPa = bisect(0, 1e5, (k) => {
    c.chokeCrankPa = k
    return crank.airGS / stoich / steadyFuel(base, metering, crank, 1, true) > p['choke.crank_lambda']
  })

  const pump = findPumpShot(base, metering, { leakMm2, primaryMostGS, idle, cruise: middle })
  const out: Calibration = {
    leakMm2,
    fastIdlePct,
    primaryMostGS,
    idleAirGS: idle.airGS,
    cruiseAirGS: middle.airGS,
    coefficients: { ...c },
    pumpStrokeG: pump.strokeG,
    pumpRateGS: pump.rateGS,
  }
  cache.set(car, out)
  return out
}
