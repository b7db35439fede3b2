import { airDensityKgM3 } from '../air/humidAir.ts'
import { type PowerCorrectionMethod, powerCorrectionLimits } from '../air/powerCorrection.ts'
import type { Air, CarProfile } from '../contract/car.ts'
import type { Pull } from '../contract/result.ts'
import type { PullSamples } from './pulls.ts'
import { defaultDragAreaM2, defaultRollingCoefficient, type RoadLoadCar, wheelPowerKw } from './roadLoad.ts'

export interface PullCar {
  readonly car: CarProfile | undefined
  readonly air: Air | undefined
  readonly powerTargetLambda: number
  /** Mean slope of the road over a stretch, %, NaN when not known: then it is taken as level. */
  readonly gradePct?: (startS: number, endS: number) => number
}

/** Width of a step of engine speed in a pull's curve, rpm. */
const STEP_RPM = 200
/** Time over which engine speed is taken as a straight line, s, each side. */
const SLOPE_HALF_S = 0.4
/** The same for road speed, which comes coarser and less often. */
const ROAD_SLOPE_HALF_S = 0.8
/** Road speed per rpm that changes by more than this from the first to the last third of a pull tells of a converter that slips. Chosen here. */
const SLIP_SHARE = 0.06
/** Samples with a power that a step needs to be the peak: a fifth of a second. Chosen here. */
const LEAST_OF_PEAK = 4
const DEFAULT_METHOD: PowerCorrectionMethod = 'sae_j1349'
const methods: readonly string[] = ['sae_j1349', 'iso_1585', 'din_70020', 'std']

/**
 * Measures full-throttle pulls: λ over engine speed against the target, and wheel power from the acceleration where mass and road speed (or
 * gearing) are known, corrected by the profile's `power_correction` (default `sae_j1349`). The road is
 * taken as level unless heights tell its slope. What is missing is named.
 */
export function measurePulls(
  pulls: readonly PullSamples[],
  { car, air, powerTargetLambda, gradePct }: PullCar,
): Pull[] {
  return pulls.map((pull) => {
    const grade = gradePct?.(pull.timeS[0], pull.timeS[pull.timeS.length - 1]) ?? Number.NaN
    return measurePull(pull, car, air, powerTargetLambda, grade)
  })
}

function measurePull(
  pull: PullSamples,
  car: CarProfile | undefined,
  air: Air | undefined,
  targetLambda: number,
  gradePct: number,
): Pull {
  const slopePct = Number.isNaN(gradePct) ? 0 : gradePct
  const { timeS, rpm, lambda } = pull
  const last = timeS.length - 1
  const missing: string[] = []
  const perRpm = speedPerRpm(pull, car)
  if (Number.isNaN(perRpm)) missing.push('road_speed, or gearing with the tyre')
  if (car?.mass_kg === undefined) missing.push('mass_kg')
  const airNow = pullAir(pull, air)
  if (!airNow) missing.push('air')
  const correction = airNow ? correctionOf(car, airNow) : undefined
  const road: RoadLoadCar = {
    massKg: car?.mass_kg ?? Number.NaN,
    dragAreaM2: car?.road_load?.drag_area_m2 ?? defaultDragAreaM2,
    rollingCoefficient: car?.road_load?.rolling_coefficient ?? defaultRollingCoefficient,
  }
  const density = airNow ? airDensityKgM3(airNow) : 1.2
  const steps = new Map<
    number,
    { rpm: number; lambda: number; lambdas: number; kW: number; powers: number; count: number }
  >()
  const isSlipping = slips(pull)
  for (let i = 0; i <= last; i++) {
    // Engine speed is the finer measure of acceleration, as long as it is tied to the wheels.
    const speedMs = isSlipping ? pull.roadSpeedMs[i] : rpm[i] * perRpm
    const accelerationMs2 = isSlipping
      ? slopeAt(timeS, pull.roadSpeedMs, i, ROAD_SLOPE_HALF_S)
      : slopeAt(timeS, rpm, i, SLOPE_HALF_S) * perRpm
    const kW = wheelPowerKw(road, speedMs, accelerationMs2, density, slopePct) * (correction?.factor ?? 1)
    const key = Math.round(rpm[i] / STEP_RPM)
    const step = steps.get(key) ?? { rpm: 0, lambda: 0, lambdas: 0, kW: 0, powers: 0, count: 0 }
    step.rpm += rpm[i]
    step.count++
    if (!Number.isNaN(lambda[i])) {
      step.lambda += lambda[i]
      step.lambdas++
    }
    if (
      Number.isFinite(kW) &&
      timeS[i] - timeS[0] >= SLOPE_HALF_S &&
      timeS[last] - timeS[i] >= SLOPE_HALF_S / 2
    ) {
      step.kW += kW
      step.powers++
    }
    steps.set(key, step)
  }
  const counts = [...steps.values()].map(({ powers }) => powers)
  const curve = [...steps.values()].map((step) => ({
    rpm: step.rpm / step.count,
    lambda: step.lambdas > 0 ? step.lambda / step.lambdas : null,
    wheel_kW: step.powers > 0 ? step.kW / step.powers : null,
  }))
  // A step that the pull just touched holds a moment's noise: it is no peak, unless all are so short.
  const wellSeen = curve.filter((_, i) => counts[i] >= LEAST_OF_PEAK)
  let peak: (typeof curve)[number] | undefined
  for (const point of wellSeen.length > 0 ? wellSeen : curve)
    if (point.wheel_kW !== null && point.wheel_kW > (peak?.wheel_kW ?? 0)) peak = point
  return {
    start_s: timeS[0],
    end_s: timeS[last],
    rpm_from: rpm[0],
    rpm_to: rpm[last],
    peak_kW: peak?.wheel_kW ?? null,
    peak_at_rpm: peak?.rpm ?? null,
    correction: peak && correction ? correction.method : null,
    correction_factor: peak && correction ? correction.factor : null,
    ...(correction && correction.reasons.length > 0 ? { correction_limits: correction.reasons } : {}),
    curve,
    target_lambda: targetLambda,
    power_at: 'wheels',
    road: Number.isNaN(gradePct) ? 'taken as level' : 'slope from the receiver’s heights',
    ...(Number.isNaN(gradePct) ? {} : { grade_pct: gradePct }),
    missing,
  }
}

/** Road speed for each rpm in the pull's gear, m/s: fitted to the road speed seen, else from the gearing of the highest gear given. */
function speedPerRpm({ rpm, roadSpeedMs }: PullSamples, car: CarProfile | undefined): number {
  let cross = 0
  let square = 0
  for (let i = 0; i < rpm.length; i++) {
    if (!(roadSpeedMs[i] > 1)) continue
    cross += roadSpeedMs[i] * rpm[i]
    square += rpm[i] * rpm[i]
  }
  if (square > 0) return cross / square
  const { gears, final_drive, tyre_circumference_m, pull_gear } = car?.gearing ?? {}
  const gear = typeof pull_gear === 'number' ? gears?.[pull_gear - 1] : undefined
  if (gear && final_drive && tyre_circumference_m) return tyre_circumference_m / (60 * gear * final_drive)
  return Number.NaN
}

/** Whether engine speed runs away from road speed within a pull, or comes back to it. */
function slips({ rpm, roadSpeedMs }: PullSamples): boolean {
  const third = Math.floor(rpm.length / 3)
  const first = ratioOver(0, third)
  const last = ratioOver(rpm.length - third, rpm.length)
  return Math.abs(last / first - 1) > SLIP_SHARE

  function ratioOver(from: number, to: number): number {
    let speeds = 0
    let turns = 0
    for (let i = from; i < to; i++) {
      if (!(roadSpeedMs[i] > 1)) continue
      speeds += roadSpeedMs[i]
      turns += rpm[i]
    }
    return speeds / turns
  }
}

/** Slope of the straight line through the samples within so many seconds of one, per second; missing ones are passed over. */
function slopeAt(timeS: readonly number[], values: readonly number[], at: number, halfS: number): number {
  let count = 0
  let sumT = 0
  let sumV = 0
  let sumTt = 0
  let sumTv = 0
  for (let i = at; i >= 0 && timeS[at] - timeS[i] <= halfS; i--) add(i)
  for (let i = at + 1; i < timeS.length && timeS[i] - timeS[at] <= halfS; i++) add(i)
  function add(i: number): void {
    if (Number.isNaN(values[i])) return
    const t = timeS[i] - timeS[at]
    count++
    sumT += t
    sumV += values[i]
    sumTt += t * t
    sumTv += t * values[i]
  }
  const spread = count * sumTt - sumT * sumT
  return spread > 0 ? (count * sumTv - sumT * sumV) / spread : Number.NaN
}

function pullAir({ intakeAirC, barometerKpa }: PullSamples, air: Air | undefined) {
  const pressureKpa = air?.pressure_kPa ?? barometerKpa.find((kpa) => kpa > 0)
  // The sensor under the hood reads the heat of the engine: the day's air wins where it is known.
  const temperatureC = air?.temperature_C ?? intakeAirC.find((celsius) => !Number.isNaN(celsius))
  if (pressureKpa === undefined || temperatureC === undefined) return undefined
  return { temperatureC, pressureKpa, humidityPct: air?.humidity_pct ?? 0 }
}

function correctionOf(car: CarProfile | undefined, air: NonNullable<ReturnType<typeof pullAir>>) {
  const own = car?.power_correction
  const method = (
    typeof own === 'string' && methods.includes(own) ? own : DEFAULT_METHOD
  ) as PowerCorrectionMethod
  const { factor, reasons } = powerCorrectionLimits(method, air)
  return { method, factor, reasons }
}
