/** A sender and a fixed resistor across the supply, measured at their joint. */
export interface VoltageDivider {
  readonly supplyV: number
  readonly fixedOhm: number
  /** `to_ground` (usual: the fixed resistor pulls up) or `to_supply`: where the sender sits. */
  readonly sender?: 'to_ground' | 'to_supply'
}

/** Voltage at the joint with a sender of this resistance, Ω. NaN for NaN and for a negative resistance. */
export function dividerVoltage(senderOhm: number, divider: VoltageDivider): number {
  if (!(senderOhm >= 0)) return NaN
  const groundShare = senderOhm === Infinity ? 1 : senderOhm / (senderOhm + divider.fixedOhm)
  return divider.supplyV * (divider.sender === 'to_supply' ? 1 - groundShare : groundShare)
}

/**
 * Resistance of the sender, Ω, from the voltage at the joint. NaN for NaN and for a voltage at or outside the rails: a
 * short or an open wire has no resistance to tell.
 */
export function dividerResistanceOhm(volts: number, divider: VoltageDivider): number {
  if (!(volts > 0 && volts < divider.supplyV)) return NaN
  const groundOhm = (divider.fixedOhm * volts) / (divider.supplyV - volts)
  return divider.sender === 'to_supply' ? (divider.fixedOhm * divider.fixedOhm) / groundOhm : groundOhm
}

/** Voltage before a scaling divider (upper resistor in series, lower to ground) from the voltage at its joint. */
export function voltageBeforeDivider(volts: number, upperOhm: number, lowerOhm: number): number {
  return lowerOhm > 0 && upperOhm >= 0 ? (volts * (upperOhm + lowerOhm)) / lowerOhm : NaN
}
