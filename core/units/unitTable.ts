/** Kinds of quantity for which a user chooses a unit. */
export type Quantity =
  | 'mixture'
  | 'engine_speed'
  | 'pressure'
  | 'temperature'
  | 'voltage'
  | 'current'
  | 'resistance'
  | 'share'
  | 'speed'
  | 'time'
  | 'mass'
  | 'bore'
  | 'distance'
  | 'volume'
  | 'economy'
  | 'power'
  | 'torque'
  | 'angle'
  | 'acceleration'
  | 'air_density'

/** What a conversion may need beyond the value. */
export interface UnitContext {
  /** kg air for each kg of fuel, for air/fuel ratios. */
  readonly stoichiometricRatio?: number
  /** Barometric pressure, kPa absolute, for vacuum and gauge pressure. */
  readonly barometerKpa?: number
}

export interface Unit {
  readonly quantity: Quantity
  /** Shown after the number; empty for λ. */
  readonly symbol: string
  /** Canonical = value × scale + offset; `needs` says which figure of the context enters instead. */
  readonly scale: number
  readonly offset: number
  /** `reciprocal`: canonical = scale / value. */
  readonly isReciprocal?: true
  /**
   * `stoichiometricRatio`: canonical = value ÷ it. `barometerKpa`: canonical = it + value × scale (scale negative for
   * vacuum).
   */
  readonly needs?: keyof UnitContext
  /** Decimals on screen. */
  readonly decimals: number
  /** On screen rounded to a multiple of this, e.g. 10 rpm. */
  readonly step?: number
}

// Exact unless said otherwise: NIST Special Publication 811, appendix B.
const INCH_M = 0.0254
const MILE_M = 1609.344
const POUND_KG = 0.45359237
const STANDARD_GRAVITY = 9.80665
const POUND_FORCE_N = POUND_KG * STANDARD_GRAVITY
const US_GALLON_L = 3.785411784
const IMPERIAL_GALLON_L = 4.54609
const PSI_KPA = POUND_FORCE_N / INCH_M ** 2 / 1000
/** Conventional inch of mercury, 25.4 × 133.322387415 Pa (SP 811 prints 3.386 389 kPa). */
const INCH_OF_MERCURY_KPA = 0.0254 * 133.322387415
/** 550 ft lbf/s. */
const HORSEPOWER_KW = (550 * 12 * INCH_M * POUND_FORCE_N) / 1000
/** 75 kgf m/s. */
const METRIC_HORSEPOWER_KW = (75 * STANDARD_GRAVITY) / 1000

const unit = (
  quantity: Quantity,
  symbol: string,
  scale: number,
  decimals: number,
  more: Partial<Pick<Unit, 'offset' | 'isReciprocal' | 'needs' | 'step'>> = {},
): Unit => Object.freeze({ quantity, symbol, scale, offset: 0, decimals, ...more })

/**
 * All units by id. The first of each quantity is the inside (canonical) one. Ids `mA` to `1` are those a board may
 * declare; the rest are for the screen.
 */
export const units = Object.freeze({
  lambda: unit('mixture', '', 1, 2),
  '1': unit('mixture', '', 1, 2),
  afr: unit('mixture', 'AFR', 1, 1, { needs: 'stoichiometricRatio' }),
  phi: unit('mixture', 'φ', 1, 2, { isReciprocal: true }),

  rpm: unit('engine_speed', 'rpm', 1, 0, { step: 10 }),

  kPa: unit('pressure', 'kPa', 1, 0),
  mbar: unit('pressure', 'mbar', 0.1, 0),
  bar: unit('pressure', 'bar', 100, 2),
  psi: unit('pressure', 'psi', PSI_KPA, 1),
  inHg: unit('pressure', 'inHg', INCH_OF_MERCURY_KPA, 1),
  inHg_vacuum: unit('pressure', 'inHg vacuum', -INCH_OF_MERCURY_KPA, 1, { needs: 'barometerKpa' }),
  kPa_gauge: unit('pressure', 'kPa gauge', 1, 0, { needs: 'barometerKpa' }),
  psi_gauge: unit('pressure', 'psi gauge', PSI_KPA, 1, { needs: 'barometerKpa' }),
  bar_gauge: unit('pressure', 'bar gauge', 100, 2, { needs: 'barometerKpa' }),

  C: unit('temperature', '°C', 1, 0),
  F: unit('temperature', '°F', 5 / 9, 0, { offset: -160 / 9 }),
  K: unit('temperature', 'K', 1, 0, { offset: -273.15 }),

  V: unit('voltage', 'V', 1, 2),
  mV: unit('voltage', 'mV', 0.001, 0),

  mA: unit('current', 'mA', 1, 3),
  A: unit('current', 'A', 1000, 2),

  ohm: unit('resistance', 'Ω', 1, 0),
  kohm: unit('resistance', 'kΩ', 1000, 2),

  '%': unit('share', '%', 1, 0),

  'm/s': unit('speed', 'm/s', 1, 1),
  'km/h': unit('speed', 'km/h', 1 / 3.6, 0),
  mph: unit('speed', 'mph', MILE_M / 3600, 0),
  knot: unit('speed', 'kn', 1852 / 3600, 0),

  s: unit('time', 's', 1, 1),
  ms: unit('time', 'ms', 0.001, 0),
  min: unit('time', 'min', 60, 1),

  kg: unit('mass', 'kg', 1, 0),
  g: unit('mass', 'g', 0.001, 1),
  lb: unit('mass', 'lb', POUND_KG, 0),

  mm: unit('bore', 'mm', 1, 2),
  in: unit('bore', 'in', 25.4, 4),
  thou: unit('bore', 'thou', 0.0254, 1),

  m: unit('distance', 'm', 1, 0),
  km: unit('distance', 'km', 1000, 1),
  mi: unit('distance', 'mi', MILE_M, 1),
  ft: unit('distance', 'ft', 12 * INCH_M, 0),

  L: unit('volume', 'L', 1, 2),
  ml: unit('volume', 'ml', 0.001, 1),
  gal_us: unit('volume', 'gal (US)', US_GALLON_L, 2),
  gal_imp: unit('volume', 'gal (imp)', IMPERIAL_GALLON_L, 2),

  L_100km: unit('economy', 'L/100 km', 1, 1),
  mpg_us: unit('economy', 'mpg (US)', (US_GALLON_L * 100_000) / MILE_M, 1, { isReciprocal: true }),
  mpg_imp: unit('economy', 'mpg (imp)', (IMPERIAL_GALLON_L * 100_000) / MILE_M, 1, { isReciprocal: true }),
  km_L: unit('economy', 'km/L', 100, 1, { isReciprocal: true }),

  kW: unit('power', 'kW', 1, 0),
  hp: unit('power', 'hp', HORSEPOWER_KW, 0),
  PS: unit('power', 'PS', METRIC_HORSEPOWER_KW, 0),

  Nm: unit('torque', 'N·m', 1, 0),
  lbf_ft: unit('torque', 'lbf·ft', POUND_FORCE_N * 12 * INCH_M, 0),

  deg: unit('angle', '°', 1, 1),

  'm/s2': unit('acceleration', 'm/s²', 1, 2),
  gravity: unit('acceleration', 'g', STANDARD_GRAVITY, 2),

  kg_m3: unit('air_density', 'kg/m³', 1, 3),
})

export type UnitId = keyof typeof units

/** Whether a declared unit is one of the table. */
export function isUnitId(id: string): id is UnitId {
  return Object.hasOwn(units, id)
}

/** The unit of that id. Throws `RangeError` for an unknown one. */
export function findUnit(id: string): Unit {
  if (!isUnitId(id))
    throw new RangeError(`unknown unit: ${id} (expected one of ${Object.keys(units).join(' ')})`)
  return units[id]
}

const canonicalIds = collectCanonicalIds()

function collectCanonicalIds(): ReadonlyMap<Quantity, UnitId> {
  const ids = new Map<Quantity, UnitId>()
  for (const id of Object.keys(units) as UnitId[]) {
    // Keys that look like whole numbers come first in any object, so '1' is passed over by name.
    if (id !== '1' && !ids.has(units[id].quantity)) ids.set(units[id].quantity, id)
  }
  return ids
}

/** Id of the inside unit of a quantity, e.g. `kPa` for pressure. */
export function canonicalUnit(quantity: Quantity): UnitId {
  return canonicalIds.get(quantity)!
}
