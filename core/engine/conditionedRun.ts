/** Columns of a whole run that delay learning works on: conditioned engine signals on a coarse step, and λ as it was read. */
export interface ConditionedRun {
  count: number
  timeS: Float64Array
  rpm: Float64Array
  /** As the sensor tells it, rest not taken off. */
  throttlePct: Float64Array
  mapKpa: Float64Array
  lambdaCount: number
  lambdaS: Float64Array
  lambda: Float64Array
}
