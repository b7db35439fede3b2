import type { Tank } from '../contract/api.ts'
import type { Fitted } from '../contract/car.ts'

/** Economy over one full-to-full stretch. */
export interface TankStretch {
  /** Id of the full filling that closes it. */
  id: string
  at: string
  distanceKm: number
  fuelL: number
  cost: number
  l100Km: number
  /** Standard error of `l100Km`. */
  se: number
  /** Over the last stretches up to this one. */
  rollingL100Km: number
  rollingSe: number
  fitted?: Fitted
}

/** Standard deviation of one full filling's level, litres: where the nozzle clicks off. Common practice, no source. */
const FILL_SD_L = 1
/** Standard deviation of distance as a share: tyre wear, odometer. It is common to all stretches and left out of comparisons' noise. */
const DISTANCE_SD_SHARE = 0.01
/** Stretches of the rolling figure. Chosen here. */
const ROLLING = 5

/**
 * Full-to-full stretches of a tank log, oldest first. The first full filling only starts the count; part fillings add to the stretch
 * they fall in; what follows the last full filling waits for the next. The error of a stretch is that of both its fillings.
 * `fittedAt` ties a stretch to what was fitted at its end. Throws `RangeError` for a distance or fuel below 0.
 */
export function findStretches(
  tanks: readonly Tank[],
  fittedAt?: (at: string) => Fitted | undefined,
): TankStretch[] {
  for (const tank of tanks) {
    if (!(tank.distance_km >= 0))
      throw new RangeError(`invalid distance_km: ${tank.distance_km} (expected 0 or more)`)
    if (!(tank.fuel_l >= 0)) throw new RangeError(`invalid fuel_l: ${tank.fuel_l} (expected 0 or more)`)
  }
  const ordered = [...tanks].sort((a, b) => Date.parse(a.at) - Date.parse(b.at))
  const stretches: TankStretch[] = []
  let isOpen = false
  let distanceKm = 0
  let fuelL = 0
  let cost = 0
  for (const tank of ordered) {
    if (isOpen) {
      distanceKm += tank.distance_km
      fuelL += tank.fuel_l
      cost += tank.cost ?? 0
    }
    if (!tank.full) continue
    if (isOpen && distanceKm > 0 && fuelL > 0) {
      const fitted = fittedAt?.(tank.at)
      const l100Km = (100 * fuelL) / distanceKm
      stretches.push({
        id: tank.id,
        at: tank.at,
        distanceKm,
        fuelL,
        cost,
        l100Km,
        se: standardError(fuelL, distanceKm),
        rollingL100Km: Number.NaN,
        rollingSe: Number.NaN,
        ...(fitted ? { fitted } : {}),
      })
      const window = stretches.slice(-ROLLING)
      const last = stretches[stretches.length - 1]
      const fuel = window.reduce((sum, entry) => sum + entry.fuelL, 0)
      const road = window.reduce((sum, entry) => sum + entry.distanceKm, 0)
      last.rollingL100Km = (100 * fuel) / road
      last.rollingSe = standardError(fuel, road)
    }
    isOpen = true
    distanceKm = 0
    fuelL = 0
    cost = 0
  }
  return stretches
}

/** A stretch lies between two fillings, each with its own level error; over several, those between cancel out. */
function standardError(fuelL: number, distanceKm: number): number {
  const l100Km = (100 * fuelL) / distanceKm
  return l100Km * Math.hypot((FILL_SD_L * Math.SQRT2) / fuelL, DISTANCE_SD_SHARE)
}

/** Economy over all stretches of a log, NaN without one. */
export function economyOfTanks(tanks: readonly Tank[]): { l100Km: number; se: number; distanceKm: number } {
  const stretches = findStretches(tanks)
  const fuelL = stretches.reduce((sum, entry) => sum + entry.fuelL, 0)
  const distanceKm = stretches.reduce((sum, entry) => sum + entry.distanceKm, 0)
  if (!(distanceKm > 0)) return { l100Km: Number.NaN, se: Number.NaN, distanceKm: 0 }
  return { l100Km: (100 * fuelL) / distanceKm, se: standardError(fuelL, distanceKm), distanceKm }
}

/** Litres of one US and one imperial gallon, kilometres of a mile. Source: NIST SP 811. */
const US_GALLON_L = 3.785411784
const IMPERIAL_GALLON_L = 4.54609
const MILE_KM = 1.609344

/** Economy in the user's unit. Miles per gallon fall as l/100 km rises; 0 gives Infinity, NaN gives NaN. */
export function economyIn(unit: 'l_100km' | 'mpg_us' | 'mpg_imperial', l100Km: number): number {
  if (unit === 'l_100km') return l100Km
  const gallonL = unit === 'mpg_us' ? US_GALLON_L : IMPERIAL_GALLON_L
  return (100 * gallonL) / (l100Km * MILE_KM)
}
