/** What a live fuel flow is worked out from. All in inside units; NaN where unknown. */
export interface FlowInputs {
  rpm: number
  manifoldKpa: number
  intakeAirC: number
  lambda: number
  displacementL: number
  stoichiometricRatio: number
  fuelDensityKgM3: number
}

/** Specific gas constant of dry air, J/(kg K). Source: US Standard Atmosphere 1976, 8314.32 / 28.9644. */
const AIR_GAS_CONSTANT = 287.053
/** Filling of the cylinders against manifold density before the tanks have taught their scale. Common practice, no source. */
const ASSUMED_FILLING = 0.8
const ZERO_CELSIUS_K = 273.15
/** Scale before any tank, its standard deviation, and that of one tank's own scatter. */
const SCALE_SD = 0.15

/**
 * Fuel flow, l/h, of a four-stroke engine from what it breathes and λ: air by speed and density times filling, divided by λ times
 * the stoichiometric ratio. `scale` is learned from the tanks, 1 before. NaN in any input gives NaN; a λ of 0 or less throws `RangeError`.
 */
export function fuelFlowLH(inputs: FlowInputs, scale = 1): number {
  const { rpm, manifoldKpa, intakeAirC, lambda, displacementL, stoichiometricRatio, fuelDensityKgM3 } = inputs
  if (lambda <= 0) throw new RangeError(`invalid lambda: ${lambda} (expected above 0)`)
  const densityKgM3 = (manifoldKpa * 1000) / (AIR_GAS_CONSTANT * (intakeAirC + ZERO_CELSIUS_K))
  const airKgH = (densityKgM3 * displacementL * 1e-3 * rpm * 60 * ASSUMED_FILLING) / 2
  const fuelKgH = airKgH / (lambda * stoichiometricRatio)
  return (scale * fuelKgH * 1000) / fuelDensityKgM3
}

/** One tank's fuel as filled against what the flow summed up to over its runs. */
export interface FlowTank {
  filledL: number
  computedL: number
  /** Standard error of the filling, litres. */
  seL: number
}

/** Scale of the flow and its standard deviation, from the tanks: the assumption of 1 ± 0.15 weighed against each tank. */
export function learnFlowScale(tanks: readonly FlowTank[]): { scale: number; sd: number } {
  let weight = 1 / SCALE_SD ** 2
  let sum = weight
  for (const { filledL, computedL, seL } of tanks) {
    if (!(filledL > 0) || !(computedL > 0)) continue
    const ratio = filledL / computedL
    // Fuel burnt outside the recorded runs and cold starts scatter a tank by about 4 %. Common practice, no source.
    const w = 1 / ((seL / computedL) ** 2 + 0.04 ** 2)
    weight += w
    sum += w * ratio
  }
  return { scale: sum / weight, sd: Math.sqrt(1 / weight) }
}
