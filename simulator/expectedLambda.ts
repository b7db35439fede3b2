import type { Air, Fitted } from '../core/contract/car.ts'
import { calibrate } from './calibration.ts'
import { chargeTemperatureK, EngineBase } from './engineBase.ts'
import { Injection } from './injection.ts'
import { Metering } from './metering.ts'
import { type ParameterChanges, resolveParameters } from './parameters.ts'
import { partEffects } from './partEffects.ts'
import type { SimCar } from './simCar.ts'
import { type SteadyPoint, steadyFuel, steadyPoint } from './steadyPoint.ts'

export type SteadyState = 'idle' | 'cruise' | 'part_throttle' | 'power'

/** λ of a state without noise: its middle, and its range over the representative points. */
export interface ExpectedLambda {
  lambda: number
  least: number
  most: number
  points: number
}

const warmWallC = 85

/**
 * True steady λ of a warm state for a car with these parts in this air (default reference air), by the steady model at
 * representative points: warm idle at its usual speed; cruise loads evenly from 0.38 to 0.58 at four engine speeds;
 * part-throttle loads from 0.62 to 0.82 likewise; full throttle from 0.4 to 0.8 of the red line.
 */
export function expectedLambda(
  car: SimCar,
  fitted: Fitted,
  state: SteadyState,
  air: Air = { temperature_C: 20, pressure_kPa: 100, humidity_pct: 0 },
  parameters: ParameterChanges = {},
): ExpectedLambda {
  const k = calibrate(car)
  const p = resolveParameters(car.parameters, parameters, {
    'air.temperature_C': air.temperature_C,
    'air.pressure_kPa': air.pressure_kPa,
    'air.humidity_pct': air.humidity_pct,
  })
  const base = new EngineBase(p)
  const parts = partEffects(fitted, car.right)
  const c = k.coefficients
  const metering = new Metering(p, parts, {
    ...c,
    startPa: c.startPa * p['carb.main_start_scale'],
    trend: c.trend + p['carb.trend_add'],
    slotArea: c.slotArea * p['carb.slot_scale'],
  })
  const injection = p['injection.fitted'] > 0.5 ? new Injection(p) : undefined
  const stoich = p['engine.stoichiometric_ratio']
  const values = statePoints(base, state, k, parts.spring).map((point) => {
    const fuel = injection
      ? injection.fuelGS(point.rpm, point.manifoldPa, 0, point.throttlePct, base)
      : steadyFuel(base, metering, point)
    return (point.airGS * base.air.dryShare) / (fuel * stoich)
  })
  const sum = values.reduce((total, value) => total + value, 0)
  return {
    lambda: sum / values.length,
    least: Math.min(...values),
    most: Math.max(...values),
    points: values.length,
  }
}

function statePoints(
  base: EngineBase,
  state: SteadyState,
  k: ReturnType<typeof calibrate>,
  spring: number,
): SteadyPoint[] {
  const { p } = base
  const redline = p['engine.redline_rpm']
  const at = (pct: number, rpm: number) => steadyPoint(base, k.leakMm2, pct, rpm, k.primaryMostGS, spring)
  if (state === 'idle') {
    const rpm = p['engine.idle_rpm']
    const chargeK = chargeTemperatureK(base.air.temperatureK, warmWallC)
    const manifoldPa = base.steadyManifoldPa(k.leakMm2, rpm, chargeK)
    return [
      { rpm, throttlePct: 0, manifoldPa, airGS: base.pumpedGS(rpm, manifoldPa, chargeK), secondaryOpen: 0 },
    ]
  }
  if (state === 'power') return [0.4, 0.5, 0.6, 0.7, 0.8].map((share) => at(100, share * redline))
  const loads = state === 'cruise' ? [0.38, 0.42, 0.46, 0.5, 0.54, 0.58] : [0.62, 0.67, 0.72, 0.77, 0.82]
  const speeds = state === 'cruise' ? [0.32, 0.4, 0.48, 0.56] : [0.36, 0.44, 0.52, 0.6]
  const out: SteadyPoint[] = []
  for (const speed of speeds) {
    const rpm = speed * redline
    for (const load of loads) {
      let low = 0
      let high = 100
      for (let i = 0; i < 30; i++) {
        const mid = (low + high) / 2
        if (at(mid, rpm).manifoldPa < load * base.air.pressurePa) low = mid
        else high = mid
      }
      out.push(at((low + high) / 2, rpm))
    }
  }
  return out
}
