import { airDensityKgM3 } from '../air/humidAir.ts'
import { type Air, airSchema, type CarProfile, defaultReferenceAir, isInjection } from '../contract/car.ts'
import type { RunAnalysis } from '../contract/result.ts'
import { medianOf } from '../numeric/average.ts'

/** Where a run's air density comes from. */
export type AirSource = 'record' | 'channels' | 'unknown'

export interface RunAir {
  /** NaN when unknown. */
  densityKgM3: number
  source: AirSource
  /** The air itself, when known. */
  air?: Air
}

/**
 * Exponent of air density in λ of a carburettor: fuel/air follows 1/√ρ_air (Heywood, Internal Combustion Engine
 * Fundamentals, ch. 7: elementary carburettor), so λ ∝ ρ^0.5.
 */
export const CARBURETTOR_AIR_EXPONENT = 0.5

/** Density, kg/m³, of humid air as a record gives it. */
export function densityOfAirKgM3(air: Air): number {
  return airDensityKgM3({
    temperatureC: air.temperature_C,
    pressureKpa: air.pressure_kPa,
    humidityPct: air.humidity_pct ?? 0,
  })
}

/** The car's home air, else 20 °C, 100 kPa, dry. */
export function referenceAirOf(car: CarProfile | undefined): Air {
  return car?.home_air ?? defaultReferenceAir
}

/** Throttle-body injection by speed and density measures the air itself: no correction by default. */
export function airExponentOf(car: CarProfile | undefined): number {
  return isInjection(car) ? 0 : CARBURETTOR_AIR_EXPONENT
}

/**
 * The air a run was driven in: its `air` record, else the medians of the board's barometer and intake air channels (humidity
 * taken as 50 %), else unknown.
 */
export function findRunAir(run: RunAnalysis): RunAir {
  const parsed = airSchema.safeParse(run.result.run.air)
  if (parsed.success) {
    return { densityKgM3: densityOfAirKgM3(parsed.data), source: 'record', air: parsed.data }
  }
  const pressureKpa = medianOf(run.pieces.map((piece) => piece.barometerKpa))
  const temperatureC = medianOf(run.pieces.map((piece) => piece.intakeAirC))
  const measured = airSchema.safeParse({
    temperature_C: temperatureC,
    pressure_kPa: pressureKpa,
    humidity_pct: UNKNOWN_HUMIDITY_PCT,
  })
  if (!measured.success) return { densityKgM3: Number.NaN, source: 'unknown' }
  return { densityKgM3: densityOfAirKgM3(measured.data), source: 'channels', air: measured.data }
}

/** What intake air under a bonnet reads otherwise than the weather does, as a share of density: 6 °C. Common practice, no source. */
const BONNET_SD = 6 / 293

/** Doubt between the densities of two runs, as a share: none where both are unknown or of one source, else what a sensor in the car differs from the weather by. */
export function sourceDoubt(a: RunAir, b: RunAir): number {
  const isKnown = a.source !== 'unknown' && b.source !== 'unknown'
  return isKnown && a.source !== b.source ? BONNET_SD : 0
}

// Common practice, no source: the middle; 50 % more or less moves density by 0.4 % at 20 °C.
const UNKNOWN_HUMIDITY_PCT = 50

/** What must be added to log λ of the day to have log λ at the reference density; 0 when the density is not known. */
export function airLogShift(densityKgM3: number, referenceKgM3: number, exponent: number): number {
  if (!(densityKgM3 > 0) || !(referenceKgM3 > 0)) return 0
  return exponent * Math.log(referenceKgM3 / densityKgM3)
}
