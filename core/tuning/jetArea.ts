import { checkPositive, checkRange } from '../numeric/checkRange.ts'

/** Open area, mm², of a plain round jet. NaN gives NaN; a bore that is not above 0 throws `RangeError`. */
export function jetAreaMm2(boreMm: number): number {
  if (!Number.isNaN(boreMm)) checkPositive('boreMm', boreMm)
  return (Math.PI / 4) * boreMm * boreMm
}

/**
 * Open ring, mm², of a jet with a metering rod in it: π/4 (bore² − rod²). NaN gives NaN; a bore that is not above 0, a
 * negative rod, or a rod thicker than the bore throws `RangeError`.
 */
export function rodJetAreaMm2(boreMm: number, rodMm: number): number {
  const area = jetAreaMm2(boreMm)
  checkRange('rodMm', rodMm, 0, Number.isNaN(boreMm) ? Number.MAX_VALUE : boreMm)
  return area - (Math.PI / 4) * rodMm * rodMm
}

/** Bore, mm, of the plain jet with this open area, mm². NaN gives NaN; a negative area throws `RangeError`. */
export function boreOfAreaMm(areaMm2: number): number {
  checkRange('areaMm2', areaMm2, 0, Number.MAX_VALUE)
  return Math.sqrt((4 / Math.PI) * areaMm2)
}

/** A jet as the owner lists it: a bore, with a rod's diameter at the step in question if it has one. */
export interface JetOpening {
  readonly boreMm: number
  readonly rodMm?: number
}

/** How many times larger the opening `to` is than `from`, by area. Throws as `rodJetAreaMm2`, and if `from` is closed. */
export function areaFactor(from: JetOpening, to: JetOpening): number {
  const fromMm2 = rodJetAreaMm2(from.boreMm, from.rodMm ?? 0)
  if (fromMm2 === 0)
    throw new RangeError(`invalid rodMm: ${from.rodMm} (expected below the bore of ${from.boreMm})`)
  return rodJetAreaMm2(to.boreMm, to.rodMm ?? 0) / fromMm2
}

/** Bore, mm, that gives `factor` times the open area, the rod staying as it is. NaN gives NaN; throws as `areaFactor`. */
export function boreForAreaFactorMm(from: JetOpening, factor: number): number {
  checkRange('factor', factor, 0, Number.MAX_VALUE)
  const rodMm = from.rodMm ?? 0
  return Math.sqrt(factor * (from.boreMm * from.boreMm - rodMm * rodMm) + rodMm * rodMm)
}

/**
 * Fuel through a jet, g/s: Cd A √(2 ρ Δp), with area mm², density kg/m³ and pressure difference Pa. NaN gives NaN;
 * negative values throw `RangeError`. Jets are short tubes: Cd is about 0.6 to 0.8 (common practice, no source).
 */
export function jetFlowGS(
  areaMm2: number,
  dischargeCoefficient: number,
  densityKgM3: number,
  differencePa: number,
): number {
  checkRange('areaMm2', areaMm2, 0, Number.MAX_VALUE)
  checkRange('dischargeCoefficient', dischargeCoefficient, 0, 1)
  checkRange('densityKgM3', densityKgM3, 0, Number.MAX_VALUE)
  checkRange('differencePa', differencePa, 0, Number.MAX_VALUE)
  return dischargeCoefficient * areaMm2 * 1e-3 * Math.sqrt(2 * densityKgM3 * differencePa)
}
