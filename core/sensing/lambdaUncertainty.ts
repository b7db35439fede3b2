import type { NumberColumn } from '../numeric/monotoneCurve.ts'
import { planar49 } from './planarSensors.ts'
import { lambdaSlopePerMa, pumpCurrentFromLambda } from './pumpCurrent.ts'
import type { SensorCurve } from './sensorCurve.ts'

export interface LambdaUncertaintyInput {
  /** λ; or the pump current in its place, mA. */
  readonly lambda?: number
  readonly currentMa?: number
  /** Step of the board's current reading, mA (the scale in its declaration); 0 if left out. */
  readonly quantisationMa?: number
  /** Standard deviation of the current's noise, mA; 0 if left out. */
  readonly noiseMa?: number
  /** Standard uncertainty of the gain, as a share (a free-air check on an unknown damp day: 0.01); 0 if left out. */
  readonly gainShare?: number
  /** Number of readings averaged: lowers noise, not the rest; 1 if left out. */
  readonly count?: number
}

export interface LambdaUncertainty {
  /** Standard uncertainty of λ: root of the sum of the squares of the rest. */
  readonly standard: number
  readonly curve: number
  readonly quantisation: number
  readonly noise: number
  readonly gain: number
}

const PER_ROOT_3 = 1 / Math.sqrt(3)
const PER_ROOT_12 = 1 / Math.sqrt(12)

/**
 * Allowed error of the sensor in current, mA, half width, at a pump current. The data sheet's three points in λ are
 * turned into current by the curve's slope; straight lines between them, a constant share of the current beyond, since
 * spread of the diffusion barrier acts on current in proportion.
 */
function curveHalfWidthMa(currentMa: number, sensor: SensorCurve): number {
  const anchors = sensor.accuracy
  let belowMa = NaN
  let belowWidthMa = NaN
  for (let i = 0; i < anchors.length; i++) {
    const atMa = pumpCurrentFromLambda(anchors[i].lambda, sensor)
    if (Number.isNaN(atMa)) continue
    const widthMa = anchors[i].halfWidth / lambdaSlopePerMa(atMa, sensor)
    if (currentMa <= atMa) {
      if (Number.isNaN(belowMa)) return atMa < 0 ? (widthMa * currentMa) / atMa : widthMa
      return belowWidthMa + ((widthMa - belowWidthMa) * (currentMa - belowMa)) / (atMa - belowMa)
    }
    belowMa = atMa
    belowWidthMa = widthMa
  }
  return belowMa > 0 ? (belowWidthMa * currentMa) / belowMa : belowWidthMa
}

/**
 * Standard uncertainty of one λ from the sensor's curve (half width ÷ √3), the reading's step (÷ √12), noise and gain.
 * All fields NaN for NaN and outside the sensor's points. Curve accuracy is the data sheet's for a new sensor.
 */
export function lambdaUncertainty(
  input: LambdaUncertaintyInput,
  sensor: SensorCurve = planar49,
): LambdaUncertainty {
  const currentMa = input.currentMa ?? pumpCurrentFromLambda(input.lambda ?? NaN, sensor)
  const slope = lambdaSlopePerMa(currentMa, sensor)
  const curve = slope * curveHalfWidthMa(currentMa, sensor) * PER_ROOT_3
  const quantisation = slope * (input.quantisationMa ?? 0) * PER_ROOT_12
  const noise = (slope * (input.noiseMa ?? 0)) / Math.sqrt(input.count ?? 1)
  const gain = slope * Math.abs(currentMa) * (input.gainShare ?? 0)
  return {
    standard: Math.sqrt(curve ** 2 + quantisation ** 2 + noise ** 2 + gain ** 2),
    curve,
    quantisation,
    noise,
    gain,
  }
}

export interface UncertaintyTable {
  /** Standard uncertainty at equal steps of current. */
  readonly standard: Float64Array
  readonly firstMa: number
  readonly stepsPerMa: number
}

// Chosen here: steps of about 4 µA over a sensor's range keep the table within 1 % of the formula.
const TABLE_STEPS = 1000

/** `lambdaUncertainty` prepared for columns, with the same quantisation, noise and gain for all samples. */
export function createUncertaintyTable(
  input: Omit<LambdaUncertaintyInput, 'lambda' | 'currentMa'>,
  sensor: SensorCurve = planar49,
): UncertaintyTable {
  const knots = sensor.inverseLambda.x
  const firstMa = knots[0]
  const lastMa = knots[knots.length - 1]
  const standard = new Float64Array(TABLE_STEPS + 1)
  for (let step = 0; step <= TABLE_STEPS; step++) {
    const currentMa = step === TABLE_STEPS ? lastMa : firstMa + ((lastMa - firstMa) * step) / TABLE_STEPS
    standard[step] = lambdaUncertainty({ ...input, currentMa }, sensor).standard
  }
  return { standard, firstMa, stepsPerMa: TABLE_STEPS / (lastMa - firstMa) }
}

/** Standard uncertainty of λ for a column of (gain-corrected) pump currents, mA; NaN where λ is NaN. No allocation. */
export function lambdaUncertaintyInto<T extends NumberColumn>(
  target: T,
  currentMa: NumberColumn,
  table: UncertaintyTable,
): T {
  const { standard, firstMa, stepsPerMa } = table
  for (let i = 0; i < currentMa.length; i++) {
    const step = (currentMa[i] - firstMa) * stepsPerMa
    target[i] = step >= 0 && step <= TABLE_STEPS ? standard[(step + 0.5) | 0] : NaN
  }
  return target
}

/** Standard uncertainty of a λ that a board works out itself: its stated ± limit (÷ √3) and its last digit (÷ √12). */
export function reportedLambdaUncertainty(limit: number, lastDigit: number): number {
  return Math.hypot(limit * PER_ROOT_3, lastDigit * PER_ROOT_12)
}
