import { solveLeastSquares } from '../core/numeric/linearSystem.ts'
import type { EngineBase } from './engineBase.ts'
import type { Metering, MeteringCoefficients } from './metering.ts'
import { aimedLambda, type SteadyPoint, steadyFuel, steadyPoint } from './steadyPoint.ts'

/** A running point with the mixture wanted there. */
export interface JettingPoint extends SteadyPoint {
  lambda: number
  weight: number
}

/**
 * On the road each move of the throttle leaves fuel on the walls that burns in the steady seconds after it: a light load that stands this much leaner
 * on the bench is on target in traffic. Found on the traffic drives of the three cars.
 */
const wallFuelInTraffic = 0.02
const lightLoadLambda = aimedLambda.cruise + wallFuelInTraffic

/** λ wanted at a load (manifold ÷ barometric pressure) off idle. */
function wantedLambda(load: number): number {
  if (load < 0.5) return lightLoadLambda
  if (load < 0.68) return lightLoadLambda - ((lightLoadLambda - 1) * (load - 0.5)) / 0.18
  if (load < 0.88) return 1 - ((1 - aimedLambda.power) * (load - 0.68)) / 0.2
  return aimedLambda.power
}

/** Most of a drive in traffic is spent with the throttle a few % open: those points count most among the light ones. */
function weightOf(load: number, throttlePct: number, offIdle: boolean): number {
  if (load > 0.89) return 1.6
  if (offIdle) return 1.8
  if (load > 0.6) return 1.3
  return throttlePct < 20 ? 2.5 : 0.9
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
      const weight = weightOf(load, pct, offIdle)
      out.push({ ...point, lambda: offIdle ? lightLoadLambda - 0.01 : wantedLambda(load), weight })
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
  | 'slotEndPct'
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
  slotEndPct: [2.5, 14],
}

/** Starting points of the fit: coupling of the idle well, slot area, start of the main nozzle ÷ its least. */
const guesses: readonly (readonly [number, number, number])[] = [
  [0.8, 0.5, 1.1],
  [0.2, 0.3, 1.3],
  [0.5, 1, 2],
]
const rounds = 30

/**
 * Sets the coefficients so that the right parts come closest to the wanted mixture over the points: damped least squares in the
 * logarithms of the coefficients, from a few starting points, deterministic.
 */
export function fitCircuits(
  base: EngineBase,
  metering: Metering,
  c: MeteringCoefficients,
  points: readonly JettingPoint[],
): void {
  const stoich = base.p['engine.stoichiometric_ratio']
  const names: FitName[] = [
    'idle',
    'main',
    'power',
    'startPa',
    'trend',
    'coupling',
    'slotArea',
    'slotEndPct',
    'bleedRatio',
  ]
  if (base.p['carb.secondaries'] > 0) names.push('secondary')
  // The main nozzle must be dry at idle, also with its start blurred.
  const leastStartPa = 1.75 * metering.primarySignalPa(points[0].airGS, base.air.densityKgM3)
  const roots = points.map((point) => Math.sqrt(point.weight))
  const residuals = () =>
    points.map((point, i) => {
      const fuel = steadyFuel(base, metering, point)
      return roots[i] * Math.log(point.airGS / stoich / fuel / point.lambda)
    })
  const squares = (values: readonly number[]) => values.reduce((sum, value) => sum + value * value, 0)
  const put = (logs: readonly number[]) => {
    names.forEach((name, i) => {
      const [low, high] = fitBounds[name]
      c[name] = Math.min(Math.max(Math.exp(logs[i]), name === 'startPa' ? leastStartPa : low), high)
    })
  }
  const logsNow = () => names.map((name) => Math.log(c[name]))
  let best = Number.POSITIVE_INFINITY
  let bestLogs: number[] = []
  for (const [coupling, slotArea, start] of guesses) {
    c.coupling = coupling
    c.slotArea = slotArea
    c.slotEndPct = 5
    c.bleedRatio = 0.35
    c.trend = 0.1
    c.startPa = start * leastStartPa
    c.idle = 1
    steadyFuel(base, metering, points[0])
    c.idle = points[0].airGS / stoich / points[0].lambda / metering.idleGS
    c.main = (0.85 * Math.sqrt(1 / c.cruisePa) * points[1].airGS) / stoich
    c.power = 0.2 * c.main
    c.secondary = base.p['carb.secondaries'] > 0 ? 1.2 * c.main : 0
    let logs = logsNow()
    let now = residuals()
    let sum = squares(now)
    let damping = 0.1
    for (let round = 0; round < rounds && damping < 1e6; round++) {
      const columns = names.map((_name, i) => {
        const moved = [...logs]
        moved[i] += 1e-4
        put(moved)
        return residuals().map((value, row) => (value - now[row]) / 1e-4)
      })
      const rows = points.map((_point, row) => columns.map((column) => column[row]))
      const wanted = now.map((value) => -value)
      for (let i = 0; i < names.length; i++) {
        rows.push(names.map((_name, j) => (i === j ? Math.sqrt(damping) : 0)))
        wanted.push(0)
      }
      const step = solveLeastSquares(rows, wanted)
      put(logs.map((value, i) => value + Math.min(Math.max(step[i], -0.7), 0.7)))
      const trial = residuals()
      const trialSum = squares(trial)
      if (trialSum < sum) {
        const gain = 1 - trialSum / sum
        logs = logsNow()
        now = trial
        sum = trialSum
        damping *= 0.3
        if (gain < 1e-5) break
      } else damping *= 5
    }
    if (sum < best) {
      best = sum
      bestLogs = logs
    }
  }
  put(bestLogs)
}
