/** Ratio of the specific heats of air, and the pressure ratio at and below which its flow is sonic. */
const GAMMA = 1.4
const SONIC_RATIO = (2 / (GAMMA + 1)) ** (GAMMA / (GAMMA - 1))
const SONIC_FLOW = flowOf(SONIC_RATIO)
/** With hardly any pressure drop left the plate's opening is anybody's guess: the flow per area counts as this share of the sonic one at least. Chosen here. */
const LEAST_FLOW = 0.25
/** Speed × load, rpm, that the whole bore would pass at sonic flow: that of a middling carburettor. Chosen here. */
const WHOLE_BORE = 8000

function flowOf(ratio: number): number {
  return Math.sqrt(((2 * GAMMA) / (GAMMA - 1)) * (ratio ** (2 / GAMMA) - ratio ** ((GAMMA + 1) / GAMMA)))
}

/**
 * How far a throttle plate is turned by the air that the engine draws through it, for boards without a throttle sensor: isentropic flow through an
 * orifice (Heywood, appendix C) gives the area, which a turning plate uncovers with the square of its angle. Its scale is a guess; when it moves is not.
 * @param load manifold ÷ barometric pressure
 * @returns about % of its travel; NaN where load or speed is missing
 */
export function plateOpening(load: number, rpm: number): number {
  const ratio = Math.max(SONIC_RATIO, Math.min(1, load))
  const sonicRpm = (load * rpm) / Math.max(LEAST_FLOW, flowOf(ratio) / SONIC_FLOW)
  return 100 * Math.sqrt(sonicRpm / WHOLE_BORE)
}
