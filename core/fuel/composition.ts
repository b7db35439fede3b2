import { checkNumber, checkObject } from '../numeric/checkKind.ts'

/** Mole numbers of a fuel's elements, e.g. {carbon: 8, hydrogen: 18, oxygen: 0}. Any common factor is allowed. */
export interface Composition {
  readonly carbon: number
  readonly hydrogen: number
  readonly oxygen: number
}

/** Molar masses, g/mol: IUPAC standard atomic weights, conventional values (2018). */
export const CARBON_G_MOL = 12.011
export const HYDROGEN_G_MOL = 1.008
export const OXYGEN_G_MOL = 15.999

// Air as oxygen and "atmospheric nitrogen" (all the rest): 3.773 mol of 28.16 g/mol for each mol of oxygen
// (J. B. Heywood, Internal Combustion Engine Fundamentals, 1988, section 3.4). Other air tables move ratios by under 0.3 %.
const NITROGEN_PER_OXYGEN = 3.773
const ATMOSPHERIC_NITROGEN_G_MOL = 28.16
/** Mass of air that brings one mol of oxygen, g. */
const AIR_G_PER_MOL_OXYGEN = 2 * OXYGEN_G_MOL + NITROGEN_PER_OXYGEN * ATMOSPHERIC_NITROGEN_G_MOL

function checkComposition(composition: Composition): void {
  checkObject('composition', composition, 'carbon, hydrogen and oxygen as mole numbers')
  const { carbon, hydrogen, oxygen } = composition
  for (const [element, moles] of [
    ['carbon', carbon],
    ['hydrogen', hydrogen],
    ['oxygen', oxygen],
  ] as const) {
    checkNumber(element, moles)
    if (moles < 0 || moles === Infinity) {
      throw new RangeError(`invalid ${element}: ${moles} (expected a finite mole number, 0 or more)`)
    }
  }
}

/** Mass of the composition as written, g for each mol. NaN gives NaN; negative or infinite moles throw `RangeError`. */
export function molarMassG(composition: Composition): number {
  checkComposition(composition)
  const { carbon, hydrogen, oxygen } = composition
  return CARBON_G_MOL * carbon + HYDROGEN_G_MOL * hydrogen + OXYGEN_G_MOL * oxygen
}

/** Oxygen wanted for full burning, mol for each mol as written. NaN gives NaN; may be negative for oxidisers. */
export function oxygenDemandMol({ carbon, hydrogen, oxygen }: Composition): number {
  return carbon + hydrogen / 4 - oxygen / 2
}

/**
 * Stoichiometric ratio, kg of dry air for each kg of fuel. NaN gives NaN; negative or infinite moles, nothing at all,
 * and what cannot burn throw `RangeError`. Source: Heywood 1988, eq. 3.6, extended for oxygen in the fuel.
 */
export function stoichiometricRatio(composition: Composition): number {
  const massG = molarMassG(composition)
  const demandMol = oxygenDemandMol(composition)
  if (massG === 0 || demandMol <= 0) {
    const { carbon, hydrogen, oxygen } = composition
    throw new RangeError(
      `invalid composition: C ${carbon} H ${hydrogen} O ${oxygen} (expected something that burns)`,
    )
  }
  return (demandMol * AIR_G_PER_MOL_OXYGEN) / massG
}

/** The same composition with one mol of carbon (or, without carbon, as it is). */
export function perCarbon(composition: Composition): Composition {
  const { carbon, hydrogen, oxygen } = composition
  return carbon > 0 ? { carbon: 1, hydrogen: hydrogen / carbon, oxygen: oxygen / carbon } : composition
}
