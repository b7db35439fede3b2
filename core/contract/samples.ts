/** What a board declares of one channel (line `C` of the board's format). */
export interface ChannelDeclaration {
  /** Position of the channel's value in a sample line, from 0. */
  readonly index: number
  /** Channel name, e.g. `pump_current`, `engine_speed_2`, or any name of the board's own. */
  readonly name: string
  /** Unit as declared, e.g. `mA`, `kPa`, `F`. Conversion to the inside units happens in the pipeline. */
  readonly unit: string
  /** value = integer × scale + offset, in `unit`. */
  readonly scale: number
  readonly offset: number
}

/**
 * A block of samples from one source: the only form in which samples travel (decoder → recorder's tap, stream, pipeline).
 * Columns are of equal length; `NaN` is "no reading". A consumer must not keep or change the arrays it is handed.
 */
export interface SampleBlock {
  /** 0 the board, 1 a position receiver, further numbers further sources. */
  readonly source: number
  /** Rises by one with each changed declaration or board restart of this source. */
  readonly segment: number
  /** One per column, in column order. */
  readonly channels: readonly ChannelDeclaration[]
  /** Number of samples: `timeS` and the columns may be longer than this, only the first `count` entries count. */
  readonly count: number
  /** Seconds on the capture's (or the bridge's) monotonic clock, ascending within a source. */
  readonly timeS: Float64Array
  /** Values in the declared units. */
  readonly columns: readonly Float32Array[]
}

/** A fault or notice of the board (line `E`). */
export interface BoardEvent {
  readonly source: number
  readonly timeS: number
  /** `heater_open`, `heater_short`, `cell_open`, `cell_short`, `supply_low`, `overrun_uart`, or another. */
  readonly code: string
  readonly text: string
}

/** Who the board says it is (line `I`). */
export interface BoardIdentity {
  readonly source: number
  readonly version: number
  readonly boardName: string
  readonly firmware: string
  readonly uniqueId: string
  readonly ticksPerSecond: number
}

/** Counters of ordinary dirt; every one of them reaches the screen, the result and `floatbowl check`. */
export interface LineCounts {
  lines: number
  samples: number
  /** Lines whose checksum did not match (bit errors, torn lines). */
  badChecksum: number
  /** Lines that are no line of the format at all (noise, wrong baud rate, over-long). */
  unreadable: number
  /** Samples that the sequence numbers say were sent and never arrived. */
  missingSamples: number
  /** Samples dropped since no declaration came within 10 s. */
  undeclared: number
  /** Times the board started again. */
  restarts: number
}
