import { checkObject, showValue } from '../numeric/checkKind.ts'
import { checkPositive, checkRange } from '../numeric/checkRange.ts'
import {
  CARBON_G_MOL,
  type Composition,
  HYDROGEN_G_MOL,
  molarMassG,
  OXYGEN_G_MOL,
  perCarbon,
  stoichiometricRatio,
} from './composition.ts'

export interface Fuel {
  /** Shown on screen. */
  readonly name: string
  readonly composition: Composition
  /** Density of the liquid at about 15 to 20 °C, kg/m³. */
  readonly densityKgM3: number
  /** Lower heating value, MJ for each kg. */
  readonly heatingValueMjKg: number
  /** kg of air for each kg of fuel, from the composition. */
  readonly stoichiometricRatio: number
}

/**
 * A fuel from its composition. Throws `RangeError` if the composition cannot burn, the density is not positive or the
 * heating value is negative. An unknown heating value may be NaN.
 */
export function createFuel(known: Omit<Fuel, 'stoichiometricRatio'>): Fuel {
  const { name, composition, densityKgM3, heatingValueMjKg } = known
  checkPositive('densityKgM3', densityKgM3)
  // Hydrogen's 120 MJ/kg is the highest of any fuel.
  checkRange('heatingValueMjKg', heatingValueMjKg, 0, 130)
  return Object.freeze({
    name,
    composition: Object.freeze({ ...composition }),
    densityKgM3,
    heatingValueMjKg,
    stoichiometricRatio: stoichiometricRatio(composition),
  })
}

export interface BlendPart {
  readonly fuel: Fuel | FuelId
  /** Share of the blend's volume before mixing, 0 to 1; the shares of a blend add to 1. */
  readonly volumeShare: number
}

// Rounding of typed shares, such as three thirds.
const SHARE_SUM_TOLERANCE = 1e-6

/**
 * Fuel that results from mixing by volume: masses, elements and energy add, volumes too (ideal mixing, good to about
 * 0.3 % for ethanol in gasoline). Composition is given for one mol of carbon.
 * Throws `RangeError` for no parts, a share outside 0 to 1 or not a number, and shares that do not add to 1.
 */
export function blendFuels(parts: readonly BlendPart[]): Fuel {
  if (!Array.isArray(parts)) {
    throw new RangeError(`invalid parts: ${showValue(parts)} (expected a list of {fuel, volumeShare})`)
  }
  for (const part of parts) checkObject('part', part, 'fuel and volumeShare')
  const shares = parts.reduce((sum, { volumeShare }) => sum + volumeShare, 0)
  const wrong = parts.find(
    ({ volumeShare }) => typeof volumeShare !== 'number' || !(volumeShare >= 0 && volumeShare <= 1),
  )
  if (wrong) throw new RangeError(`invalid volumeShare: ${showValue(wrong.volumeShare)} (expected 0 to 1)`)
  if (!(Math.abs(shares - 1) <= SHARE_SUM_TOLERANCE)) {
    throw new RangeError(`invalid volumeShare sum: ${shares} (expected 1)`)
  }
  let massKg = 0
  let energyMj = 0
  let carbon = 0
  let hydrogen = 0
  let oxygen = 0
  const names: string[] = []
  for (const { fuel: fuelOrId, volumeShare } of parts) {
    if (volumeShare === 0) continue
    const fuel = findFuel(fuelOrId)
    const partKg = (volumeShare / shares) * fuel.densityKgM3
    const kilomoles = partKg / molarMassG(fuel.composition)
    massKg += partKg
    energyMj += partKg * fuel.heatingValueMjKg
    carbon += kilomoles * fuel.composition.carbon
    hydrogen += kilomoles * fuel.composition.hydrogen
    oxygen += kilomoles * fuel.composition.oxygen
    names.push(parts.length === 1 ? fuel.name : `${Number((volumeShare * 100).toFixed(1))} % ${fuel.name}`)
  }
  return createFuel({
    name: names.join(' + '),
    composition: perCarbon({ carbon, hydrogen, oxygen }),
    densityKgM3: massKg,
    heatingValueMjKg: energyMj / massKg,
  })
}

// CH1.87, 44.0 MJ/kg, 0.745 kg/L: Heywood 1988, table D.4; density is the middle of a pump fuel's 0.72 to 0.78.
const gasoline = createFuel({
  name: 'gasoline',
  composition: { carbon: 1, hydrogen: 1.87, oxygen: 0 },
  densityKgM3: 745,
  heatingValueMjKg: 44.0,
})

// Density at 20 °C, 789.3 kg/m³: handbook value; heating value: Heywood 1988, table D.4.
const ethanol = createFuel({
  name: 'ethanol',
  composition: { carbon: 2, hydrogen: 6, oxygen: 1 },
  densityKgM3: 789.3,
  heatingValueMjKg: 26.9,
})

const gasolineWithEthanol = (name: string, ethanolShare: number): Fuel =>
  Object.freeze({ ...mixEthanol(ethanolShare), name })

function mixEthanol(ethanolShare: number): Fuel {
  return blendFuels([
    { fuel: gasoline, volumeShare: 1 - ethanolShare },
    { fuel: ethanol, volumeShare: ethanolShare },
  ])
}

/** The built-in fuels by id. Single substances: Heywood 1988, table D.4. */
export const fuels = Object.freeze({
  gasoline_e0: gasoline,
  gasoline_e10: gasolineWithEthanol('gasoline E10', 0.1),
  /** At its nominal 85 %; pump fuel of that name holds 51 to 83 % ethanol (ASTM D5798): blend it as measured. */
  e85: gasolineWithEthanol('E85', 0.85),
  ethanol,
  methanol: createFuel({
    name: 'methanol',
    composition: { carbon: 1, hydrogen: 4, oxygen: 1 },
    densityKgM3: 792,
    heatingValueMjKg: 20.0,
  }),
  propane: createFuel({
    name: 'propane',
    composition: { carbon: 3, hydrogen: 8, oxygen: 0 },
    densityKgM3: 510,
    heatingValueMjKg: 46.4,
  }),
  isooctane: createFuel({
    name: 'isooctane',
    composition: { carbon: 8, hydrogen: 18, oxygen: 0 },
    densityKgM3: 692,
    heatingValueMjKg: 44.3,
  }),
})

export type FuelId = keyof typeof fuels

/** The fuel itself, or the built-in one of that id. Throws `RangeError` for an unknown id. */
export function findFuel(fuelOrId: Fuel | FuelId): Fuel {
  if (typeof fuelOrId !== 'string') {
    checkObject('fuel', fuelOrId, 'a fuel or the id of a built-in one')
    checkObject('fuel', fuelOrId.composition, 'a fuel with a composition')
    return fuelOrId
  }
  if (!Object.hasOwn(fuels, fuelOrId)) {
    throw new RangeError(`unknown fuel: ${fuelOrId} (expected ${Object.keys(fuels).join(', ')})`)
  }
  return fuels[fuelOrId]
}

/**
 * Gasoline with any volume of ethanol, %, 0 to 100. Throws `RangeError` outside.
 */
export function ethanolBlend(ethanolPct: number): Fuel {
  if (!(ethanolPct >= 0 && ethanolPct <= 100)) {
    throw new RangeError(`invalid ethanolPct: ${ethanolPct} (expected 0 to 100)`)
  }
  if (ethanolPct === 0) return fuels.gasoline_e0
  if (ethanolPct === 100) return fuels.ethanol
  return gasolineWithEthanol(`gasoline E${Number(ethanolPct.toFixed(1))}`, ethanolPct / 100)
}

/**
 * The fuel that a car's profile or a run names: an ethanol share wins over an id; neither gives gasoline.
 * Throws `RangeError` for an unknown id or an impossible share.
 */
export function fuelInTank(entry: { id?: string | undefined; ethanol_pct?: number | undefined } = {}): Fuel {
  if (entry.ethanol_pct !== undefined) return ethanolBlend(entry.ethanol_pct)
  return findFuel((entry.id ?? 'gasoline_e0') as FuelId)
}

/**
 * Composition, for one mol of carbon, from mass shares in per cent (any sum: they are taken as proportions).
 * Throws `RangeError` for a negative share or no carbon.
 */
export function compositionFromMassPct(
  carbonPct: number,
  hydrogenPct: number,
  oxygenPct: number,
): Composition {
  checkPositive('carbonPct', carbonPct)
  checkRange('hydrogenPct', hydrogenPct, 0, 100)
  checkRange('oxygenPct', oxygenPct, 0, 100)
  return perCarbon({
    carbon: carbonPct / CARBON_G_MOL,
    hydrogen: hydrogenPct / HYDROGEN_G_MOL,
    oxygen: oxygenPct / OXYGEN_G_MOL,
  })
}
