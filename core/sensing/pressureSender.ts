import { checkPositive } from '../numeric/checkRange.ts'

/** What a sender's zero is. */
export type PressureReference = 'absolute' | 'gauge' | 'vacuum'

/** A pressure sender with a straight line. */
export interface PressureSender {
  /** Share of the supply (ratiometric), or volts, at zero pressure and for each kPa. */
  readonly atZero: number
  readonly perKpa: number
  /** True if the output follows the supply: then `atZero` and `perKpa` are shares of it. */
  readonly isRatiometric: boolean
  readonly reference: PressureReference
  /** Pressures, in the sender's own reference, that it can tell; outside gives NaN. */
  readonly leastKpa: number
  readonly mostKpa: number
}

/** Data-sheet classes of common silicon sensors, V = supply (perKpa P + atZero). */
export const pressureSenders = Object.freeze({
  /** 20 to 250 kPa absolute. Source: Freescale/NXP MPX4250A data sheet, rev. 8.0. */
  absolute_20_250: createPressureSender({ atZero: -0.04, perKpa: 0.004, leastKpa: 20, mostKpa: 250 }),
  /** 15 to 115 kPa absolute. Source: Motorola MPX4115A data sheet. */
  absolute_15_115: createPressureSender({ atZero: -0.095, perKpa: 0.009, leastKpa: 15, mostKpa: 115 }),
})

/**
 * A sender from its data sheet; ratiometric and absolute unless told. Throws `RangeError` for a slope of 0 and a span
 * that does not rise.
 */
export function createPressureSender(
  sheet: Pick<PressureSender, 'atZero' | 'perKpa' | 'leastKpa' | 'mostKpa'> & Partial<PressureSender>,
): PressureSender {
  if (!(Math.abs(sheet.perKpa) > 0 && Number.isFinite(sheet.perKpa))) {
    throw new RangeError(`invalid perKpa: ${sheet.perKpa} (expected a finite number other than 0)`)
  }
  if (!(sheet.mostKpa > sheet.leastKpa)) {
    throw new RangeError(
      `invalid span: ${sheet.leastKpa} to ${sheet.mostKpa} kPa (expected rising pressures)`,
    )
  }
  return Object.freeze({ isRatiometric: true, reference: 'absolute', ...sheet })
}

/**
 * A sender from two measured points [V, kPa], at the supply of that day. Its span is the points' own, widened by a
 * tenth (chosen here) unless given. Throws `RangeError` for equal points or a supply not above 0.
 */
export function pressureSenderFromPoints(
  first: readonly [volts: number, kpa: number],
  second: readonly [volts: number, kpa: number],
  options: { supplyV?: number } & Partial<
    Pick<PressureSender, 'isRatiometric' | 'reference' | 'leastKpa' | 'mostKpa'>
  > = {},
): PressureSender {
  const { supplyV = 5, isRatiometric = true } = options
  checkPositive('supplyV', supplyV)
  if (first[1] === second[1])
    throw new RangeError(`invalid points: both at ${first[1]} kPa (expected two pressures)`)
  const unitV = isRatiometric ? supplyV : 1
  const perKpa = (second[0] - first[0]) / (second[1] - first[1]) / unitV
  const margin = Math.abs(second[1] - first[1]) / 10
  return createPressureSender({
    perKpa,
    atZero: first[0] / unitV - perKpa * first[1],
    isRatiometric,
    reference: options.reference ?? 'absolute',
    leastKpa: options.leastKpa ?? Math.min(first[1], second[1]) - margin,
    mostKpa: options.mostKpa ?? Math.max(first[1], second[1]) + margin,
  })
}

/**
 * Absolute pressure, kPa, from a sender's output and the supply it shares, V. A gauge or vacuum sender needs the
 * barometer, kPa. NaN for NaN, without that barometer, and outside the sender's span.
 */
export function pressureKpaFromVoltage(
  volts: number,
  sender: PressureSender,
  supplyV = 5,
  barometerKpa = NaN,
): number {
  const share = sender.isRatiometric ? volts / supplyV : volts
  const ownKpa = (share - sender.atZero) / sender.perKpa
  // Rounding must not lose the end points.
  const slackKpa = 1e-9 * (sender.mostKpa - sender.leastKpa)
  if (!(ownKpa >= sender.leastKpa - slackKpa && ownKpa <= sender.mostKpa + slackKpa)) return NaN
  if (sender.reference === 'absolute') return ownKpa
  return sender.reference === 'gauge' ? barometerKpa + ownKpa : barometerKpa - ownKpa
}

/** Output, V, at an absolute pressure, kPa: the inverse, NaN likewise. */
export function voltageFromPressureKpa(
  pressureKpa: number,
  sender: PressureSender,
  supplyV = 5,
  barometerKpa = NaN,
): number {
  const ownKpa =
    sender.reference === 'absolute'
      ? pressureKpa
      : sender.reference === 'gauge'
        ? pressureKpa - barometerKpa
        : barometerKpa - pressureKpa
  if (!(ownKpa >= sender.leastKpa && ownKpa <= sender.mostKpa)) return NaN
  return (ownKpa * sender.perKpa + sender.atZero) * (sender.isRatiometric ? supplyV : 1)
}
