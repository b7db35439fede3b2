import { canonicalUnit, isUnitId, type Quantity, type UnitId, units } from './unitTable.ts'

/** The user's unit for each quantity; what is not chosen follows the system. */
export type UnitChoice = Readonly<Partial<Record<Quantity, UnitId>>>

export type UnitSystem = 'metric' | 'us' | 'imperial'

const metric: UnitChoice = {
  speed: 'km/h',
  distance: 'km',
  economy: 'L_100km',
}

const us: UnitChoice = {
  pressure: 'inHg',
  temperature: 'F',
  speed: 'mph',
  mass: 'lb',
  bore: 'in',
  distance: 'mi',
  volume: 'gal_us',
  economy: 'mpg_us',
  power: 'hp',
  torque: 'lbf_ft',
}

/** Start values of a user's choice; λ stays λ in all of them. */
export const unitSystems: Readonly<Record<UnitSystem, UnitChoice>> = Object.freeze({
  metric,
  us,
  imperial: { ...us, temperature: 'C', volume: 'L', economy: 'mpg_imp' },
})

/** The unit to show a quantity in: the user's choice, else the system's, else the inside one. */
export function chosenUnit(
  quantity: Quantity,
  choice: UnitChoice = {},
  system: UnitSystem = 'metric',
): UnitId {
  return choice[quantity] ?? unitSystems[system][quantity] ?? canonicalUnit(quantity)
}

/** The units that a quantity can be shown in, the inside one first. */
export function unitsOf(quantity: Quantity): UnitId[] {
  const first = canonicalUnit(quantity)
  const others = (Object.keys(units) as UnitId[]).filter((id) => id !== '1' && id !== first)
  return [first, ...others.filter((id) => units[id].quantity === quantity)]
}

/**
 * A stored choice (the `units` of a car's profile) read with care: entries with an unknown unit, or a unit of another
 * quantity, are left out and named in `ignored`.
 */
export function parseUnitChoice(stored: Readonly<Record<string, string>>): {
  choice: UnitChoice
  ignored: string[]
} {
  const choice: Partial<Record<Quantity, UnitId>> = {}
  const ignored: string[] = []
  for (const [key, id] of Object.entries(stored)) {
    if (isUnitId(id) && units[id].quantity === key) choice[units[id].quantity] = id
    else ignored.push(key)
  }
  return { choice, ignored }
}
