import { checkPositive } from '../numeric/checkRange.ts'

// I(p) = I(p0) p/(k + p) (k + p0)/p0 with p0 1.013 bar: form and k from memory (Bosch Y 258 K01 036-000e), not read
// again; the sign is certain (more pressure, more current), the size is not. So it is never applied by itself.
const REFERENCE_PRESSURE_KPA = 101.3
/** Constant of the lean side, kPa; from memory, low confidence. */
export const LEAN_PRESSURE_CONSTANT_KPA = 47

/**
 * Pump current, mA, that the sensor would show at 101.3 kPa, from the one at an absolute exhaust pressure in kPa.
 * Low confidence: offered as an option, off by default. NaN gives NaN; a pressure not above 0 throws `RangeError`.
 */
export function currentAtReferencePressureMa(
  currentMa: number,
  exhaustPressureKpa: number,
  constantKpa: number = LEAN_PRESSURE_CONSTANT_KPA,
): number {
  if (!Number.isNaN(exhaustPressureKpa)) checkPositive('exhaustPressureKpa', exhaustPressureKpa)
  const rise =
    (exhaustPressureKpa / (constantKpa + exhaustPressureKpa)) *
    ((constantKpa + REFERENCE_PRESSURE_KPA) / REFERENCE_PRESSURE_KPA)
  return currentMa / rise
}
