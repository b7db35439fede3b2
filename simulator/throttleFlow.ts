/** Specific gas constant of dry air, J/(kg K). */
export const airGasConstant = 287.05
const gamma = 1.4
/** Pressure ratio at and below which the flow is sonic, (2/(γ+1))^(γ/(γ−1)). */
export const criticalRatio = (2 / (gamma + 1)) ** (gamma / (gamma - 1))
const chokedFactor = Math.sqrt(gamma) * (2 / (gamma + 1)) ** ((gamma + 1) / (2 * (gamma - 1)))

/**
 * Isentropic flow factor of an orifice for the ratio of downstream to upstream pressure: 0.6847 when choked, 0 at a ratio of 1,
 * negative of the mirrored flow above 1. Source: compressible orifice law, Heywood appendix C, γ = 1.4.
 */
export function flowFactor(pressureRatio: number): number {
  if (pressureRatio <= criticalRatio) return chokedFactor
  if (pressureRatio >= 1) return pressureRatio === 1 ? 0 : -flowFactor(1 / pressureRatio)
  return Math.sqrt(
    ((2 * gamma) / (gamma - 1)) * (pressureRatio ** (2 / gamma) - pressureRatio ** ((gamma + 1) / gamma)),
  )
}

/** Air flow through an orifice, g/s. Areas in mm², pressure in Pa, temperature in K. */
export function orificeAirFlowGS(
  areaMm2: number,
  dischargeCoefficient: number,
  upstreamPa: number,
  temperatureK: number,
  pressureRatio: number,
): number {
  return (
    (dischargeCoefficient * areaMm2 * 1e-6 * upstreamPa * flowFactor(pressureRatio) * 1000) /
    Math.sqrt(airGasConstant * temperatureK)
  )
}

/** Air flow of a four-stroke engine by speed and density, g/s. */
export function pumpedAirFlowGS(
  displacementL: number,
  rpm: number,
  volumetricEfficiency: number,
  pressurePa: number,
  temperatureK: number,
): number {
  return (volumetricEfficiency * pressurePa * displacementL * rpm) / (airGasConstant * temperatureK * 120)
}

const tableSize = 2048
/** Ratio above which the factor falls to zero on a straight line, so that its slope stays finite near full opening. */
const linearFrom = 0.99
const factorTable = new Float64Array(tableSize + 2)
for (let i = 0; i <= tableSize + 1; i++) factorTable[i] = flowFactor(Math.min(i / tableSize, 1))

/** `flowFactor` by table, with a straight line to zero over the last per cent of the ratio: what the stepped model uses. */
export function flowFactorFast(pressureRatio: number): number {
  if (pressureRatio <= criticalRatio) return chokedFactor
  if (pressureRatio >= linearFrom) {
    return (factorAtLinear * (1 - pressureRatio)) / (1 - linearFrom)
  }
  const x = pressureRatio * tableSize
  const i = x | 0
  return factorTable[i] + (factorTable[i + 1] - factorTable[i]) * (x - i)
}
const factorAtLinear = flowFactor(linearFrom)
