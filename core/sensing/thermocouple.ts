import { checkNumber } from '../numeric/checkKind.ts'

// NIST ITS-90 thermocouple database (SRD 60), type K; NIST Monograph 175. mV from °C, reference junction at 0 °C.
const BELOW_ZERO = [
  0, 0.039450128025, 2.3622373598e-5, -3.2858906784e-7, -4.9904828777e-9, -6.7509059173e-11,
  -5.7410327428e-13, -3.1088872894e-15, -1.0451609365e-17, -1.9889266878e-20, -1.6322697486e-23,
]
const ABOVE_ZERO = [
  -0.017600413686, 0.038921204975, 1.8558770032e-5, -9.9457592874e-8, 3.1840945719e-10, -5.6072844889e-13,
  5.6075059059e-16, -3.2020720003e-19, 9.7151147152e-23, -1.2104721275e-26,
]
// The term a0 exp(a1 (t − a2)²) of the range above 0 °C.
const HUMP_MV = 0.1185976
const HUMP_PER_K2 = -1.183432e-4
const HUMP_CENTRE_C = 126.9686

// The same source's inverse functions, °C from mV, each with the mV at which it ends.
const INVERSE_BELOW_ZERO = [
  0, 25.173462, -1.1662878, -1.0833638, -0.8977354, -0.37342377, -0.086632643, -0.010450598, -5.1920577e-4,
]
const INVERSE_LOW = [
  0, 25.08355, 7.860106e-2, -0.2503131, 8.31527e-2, -1.228034e-2, 9.804036e-4, -4.41303e-5, 1.057734e-6,
  -1.052755e-8,
]
const INVERSE_HIGH = [-131.8058, 48.30222, -1.646031, 5.464731e-2, -9.650715e-4, 8.802193e-6, -3.11081e-8]
const INVERSE_HIGH_FROM_MV = 20.644

/** Range of the direct function, °C; the inverse begins at −200 °C. */
export const LOWEST_TYPE_K_C = -270
export const LOWEST_INVERSE_TYPE_K_C = -200
export const HIGHEST_TYPE_K_C = 1372

function polynomial(coefficients: readonly number[], x: number): number {
  let sum = 0
  for (let i = coefficients.length - 1; i >= 0; i--) sum = sum * x + coefficients[i]
  return sum
}

function directMv(t: number): number {
  if (t < 0) return polynomial(BELOW_ZERO, t)
  return polynomial(ABOVE_ZERO, t) + HUMP_MV * Math.exp(HUMP_PER_K2 * (t - HUMP_CENTRE_C) ** 2)
}

const LOWEST_MV = directMv(LOWEST_INVERSE_TYPE_K_C)
const HIGHEST_MV = directMv(HIGHEST_TYPE_K_C)

/**
 * Voltage, mV, of a type K thermocouple with the hot end and the cold junction at these temperatures, °C. NaN for NaN
 * and outside −270 to 1372 °C. Source: NIST Monograph 175 (ITS-90).
 */
export function thermocoupleEmfMv(temperatureC: number, coldJunctionC = 0): number {
  if (!(temperatureC >= LOWEST_TYPE_K_C && temperatureC <= HIGHEST_TYPE_K_C)) return NaN
  if (!(coldJunctionC >= LOWEST_TYPE_K_C && coldJunctionC <= HIGHEST_TYPE_K_C)) return NaN
  return directMv(temperatureC) - directMv(coldJunctionC)
}

// The direct function's slope for Newton's steps need not be exact; this step, K, costs under 1e-6 of it.
const SLOPE_STEP_C = 0.01

/**
 * Temperature, °C, of the hot end of a type K thermocouple from its voltage, mV, and the cold junction's temperature,
 * °C. NaN for NaN, a cold junction outside −200 to 1372 °C, and sums outside −200 to 1372 °C. The inverse polynomials
 * (good to 0.06 K) start two Newton steps on the direct function, so that it inverts `thermocoupleEmfMv`.
 * What is no number throws `RangeError`. Source: NIST Monograph 175 (ITS-90).
 */
export function thermocoupleTemperatureC(emfMv: number, coldJunctionC = 0): number {
  checkNumber('emfMv', emfMv)
  checkNumber('coldJunctionC', coldJunctionC)
  if (!(coldJunctionC >= LOWEST_INVERSE_TYPE_K_C && coldJunctionC <= HIGHEST_TYPE_K_C)) return NaN
  const sumMv = emfMv + directMv(coldJunctionC)
  // A nanovolt of slack, so that rounding does not lose the two ends.
  if (!(sumMv >= LOWEST_MV - 1e-6 && sumMv <= HIGHEST_MV + 1e-6)) return NaN
  let t =
    sumMv < 0
      ? polynomial(INVERSE_BELOW_ZERO, sumMv)
      : polynomial(sumMv < INVERSE_HIGH_FROM_MV ? INVERSE_LOW : INVERSE_HIGH, sumMv)
  for (let step = 0; step < 2; step++) {
    const slope = (directMv(t + SLOPE_STEP_C) - directMv(t - SLOPE_STEP_C)) / (2 * SLOPE_STEP_C)
    t -= (directMv(t) - sumMv) / slope
  }
  return t
}
