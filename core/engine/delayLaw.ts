/**
 * How the pipe delays the gas while the flow changes: `plug`, the flow pushes it along (physics of a pipe); `cause` and `arrival`, the delay is that
 * of the flow at the moment of cause or of arrival (pipes that mix are near these). In steady running all three are the same.
 */
export type FlowModel = 'plug' | 'cause' | 'arrival'

/** Total delay from cause to reading: a + b / (rpm × kPa), the sensor's mean lag in a. */
export interface DelayLaw {
  readonly aS: number
  readonly bSRpmKpa: number
  readonly flow: FlowModel
}

/**
 * Delay of an unknown car: computed for three engines in the reference pack (exhaust-delay: 0.57, 0.11 and 0.03 s, fitted b 15 700) with shorter
 * pipes of sensors near the manifold also in mind, and a sensor lag of common practice in `aS`.
 */
export const priorDelayLaw: DelayLaw = Object.freeze({ aS: 0.11, bSRpmKpa: 10_500, flow: 'plug' })
