import { type Fuel, type FuelId, findFuel } from './fuels.ts'

/** Air/fuel ratio, kg for each kg, of a λ with the fuel in the tank. NaN gives NaN. */
export function afrFromLambda(lambda: number, fuel: Fuel | FuelId): number {
  return lambda * findFuel(fuel).stoichiometricRatio
}

/** λ of an air/fuel ratio with the fuel that the ratio was meant for. NaN gives NaN. */
export function lambdaFromAfr(afr: number, fuel: Fuel | FuelId): number {
  return afr / findFuel(fuel).stoichiometricRatio
}

/** Equivalence ratio (fuel/air over stoichiometric fuel/air) of a λ: 1/λ. NaN for NaN and for λ not above 0. */
export function equivalenceRatio(lambda: number): number {
  return lambda > 0 ? 1 / lambda : NaN
}

/** λ of an equivalence ratio: its inverse. NaN for NaN and for a ratio not above 0. */
export function lambdaFromEquivalenceRatio(phi: number): number {
  return phi > 0 ? 1 / phi : NaN
}

/** Energy of a litre of fuel, MJ (lower heating value). NaN if the heating value is not known. */
export function energyMjPerLitre(fuel: Fuel | FuelId): number {
  const { heatingValueMjKg, densityKgM3 } = findFuel(fuel)
  return (heatingValueMjKg * densityKgM3) / 1000
}
