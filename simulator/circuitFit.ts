import { aimedLambda, type SteadyPoint, steadyFuel, steadyPoint } from './calibration.ts'
import type { EngineBase } from './engineBase.ts'
import type { Metering, MeteringCoefficients } from './metering.ts'

/** A running point with the mixture wanted there. */
export interface JettingPoint extends SteadyPoint {
  lambda: number
  weight: number
}

/** λ wanted at a load (manifold ÷ barometric pressure) off idle. */
function wantedLambda(load: number): number {
  if (load < 0.5) return aimedLambda.cruise
  if (load < 0.68) return aimedLambda.cruise - ((aimedLambda.cruise - 1) * (load - 0.5)) / 0.18
  if (load < 0.88) return 1 - ((1 - aimedLambda.power) * (load - 0.68)) / 0.2
  return aimedLambda.power
}

/** The points that a maker's test bench would check: warm idle, off idle, road load, pulling, full throttle. */
export function jettingPoints(
  base: EngineBase,
  leakMm2: number,
  mostGS: number,
  idle: SteadyPoint,
  cruise: readonly SteadyPoint[],
): JettingPoint[] {
  const out: JettingPoint[] = [{ ...idle, lambda: aimedLambda.idle, weight: 40 }]
  for (const point of cruise)
    out.push({ ...point, lambda: wantedLambda(point.manifoldPa / base.air.pressurePa), weight: 6 })
  const redline = base.p['engine.redline_rpm']
  for (const speed of [0.24, 0.3, 0.38, 0.46, 0.55, 0.65, 0.76, 0.88]) {
    const rpm = Math.max(speed * redline, 1.5 * base.p['engine.idle_rpm'])
    for (const pct of [2, 4, 6, 9, 12, 16, 21, 27, 34, 45, 60, 80, 100]) {
      const point = steadyPoint(base, leakMm2, pct, rpm, mostGS, 1)
      const load = point.manifoldPa / base.air.pressurePa
      // Below a road load there is only overrun.
      if (load < 0.3) continue
      const offIdle = point.airGS < 1.8 * idle.airGS
      const weight = load > 0.89 ? 1.6 : offIdle ? 1 : load > 0.6 ? 1.3 : 0.9
      out.push({ ...point, lambda: offIdle ? 0.99 : wantedLambda(load), weight })
    }
  }
  return out
}

type FitName =
  | 'idle'
  | 'main'
  | 'power'
  | 'secondary'
  | 'startPa'
  | 'trend'
  | 'coupling'
  | 'slotArea'
  | 'bleedRatio'
const fitBounds: Record<FitName, readonly [number, number]> = {
  idle: [1e-5, 10],
  main: [1e-5, 10],
  power: [1e-5, 10],
  secondary: [1e-5, 10],
  startPa: [20, 1e5],
  trend: [0.001, 0.6],
  coupling: [0.05, 4],
  slotArea: [0.1, 4],
  bleedRatio: [0.1, 1.2],
}

/** Sets the coefficients so that the right parts come closest to the wanted mixture over the points: a pattern search, deterministic. */
export function fitCircuits(
  base: EngineBase,
  metering: Metering,
  c: MeteringCoefficients,
  points: readonly JettingPoint[],
): void {
  const stoich = base.p['engine.stoichiometric_ratio']
  const score = () => {
    let sum = 0
    for (const point of points) {
      const fuel = steadyFuel(base, metering, point)
      const off = Math.log(point.airGS / stoich / fuel / point.lambda)
      sum += point.weight * off * off
    }
    return sum
  }
  const names: FitName[] = ['idle', 'main', 'power', 'startPa', 'trend', 'coupling', 'slotArea', 'bleedRatio']
  if (base.p['carb.secondaries'] > 0) names.push('secondary')
  else c.secondary = 0
  // The main nozzle must be dry at idle, also with its start blurred.
  const leastStartPa = 1.75 * metering.primarySignalPa(points[0].airGS, base.air.densityKgM3)
  // A first guess of the right size: each circuit alone gives what is wanted where it rules.
  c.startPa = Math.max(0.09 * c.cruisePa, leastStartPa)
  for (const point of points.slice(0, 1)) {
    steadyFuel(base, metering, point)
    c.idle *= point.airGS / stoich / point.lambda / metering.idleGS
  }
  c.main = (0.85 * Math.sqrt(1 / c.cruisePa) * points[1].airGS) / stoich
  c.power = 0.2 * c.main
  c.secondary *= 0.5 * c.main
  let best = score()
  const steps = names.map(() => 0.25)
  for (let round = 0; round < 300; round++) {
    let moved = false
    for (let i = 0; i < names.length; i++) {
      const name = names[i]
      const before = c[name]
      const [bound, high] = fitBounds[name]
      const low = name === 'startPa' ? leastStartPa : bound
      for (const direction of [1, -1]) {
        c[name] = Math.min(Math.max(before * Math.exp(direction * steps[i]), low), high)
        const s = score()
        if (s < best) {
          best = s
          moved = true
          steps[i] *= 1.3
          break
        }
        c[name] = before
        if (direction === -1) steps[i] *= 0.6
      }
    }
    if (!moved && Math.max(...steps) < 1e-4) break
  }
}
