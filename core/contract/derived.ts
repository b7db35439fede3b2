/** λ of one bank, a value a row. */
export interface DerivedLambda {
  readonly bank: 1 | 2
  /** Trusted λ as the sensor told it at the row's time; NaN where it tells nothing new or may not be believed. */
  readonly lambda: Float32Array
  /** λ that the engine caused at the row's time: the reading laid back by the transport delay; NaN where there is none to trust. */
  readonly lambdaAtCause: Float32Array
  /** Index into `trustNames` for `lambda`, 255 for none. */
  readonly trust: Uint8Array
}

/** What the pipeline makes of each sample of a run: columns of equal length over the rows of the source that carries λ. */
export interface DerivedColumns {
  readonly timeS: Float64Array
  /** Known channels that came, in inside units. NaN where the row brought no new reading. */
  readonly channels: readonly {
    readonly name: string
    readonly unit: string
    readonly values: Float32Array
  }[]
  readonly banks: readonly DerivedLambda[]
  /** Index into `stateNames`, 255 for none. */
  readonly state: Uint8Array
  readonly stateNames: readonly string[]
  readonly trustNames: readonly string[]
  /** Air/fuel ratio at λ 1 of the fuel in the tank: AFR = λ × this. */
  readonly stoichiometricRatio: number
}
