import type { SenderTransfer } from './senderTransfer.ts'

/** Voltage difference between the ground of a device and that of the board, from a comparison with a known value. */
export interface GroundOffset {
  /** Taken from every reading: read voltage − true voltage, V. */
  readonly offsetV: number
  /** Standard uncertainty of it, V. */
  readonly uncertaintyV: number
  /** Readings that were numbers. */
  readonly count: number
}

export interface GroundOffsetInput {
  /** Voltages read while the device said a known value, V; NaN is passed over. Take them warm, with the loads on that a drive has. */
  readonly volts: ArrayLike<number>
  readonly transfer: SenderTransfer
  /** What the device itself showed, in the transfer's unit. */
  readonly knownValue: number
  /** Half of the device's last digit or its stated limit, in that unit; 0 if left out. */
  readonly knownHalfWidth?: number
  /** Voltages between which the known value lies, default 0 and 5 V. */
  readonly spanV?: readonly [number, number]
}

/** Fewer readings tell no mean worth keeping. Chosen here: 0.2 s at 50 Hz. */
const LEAST_READINGS = 10
/** Larger than this is no ground offset but a wrong transfer or wire, V; common practice, no source. */
const MOST_OFFSET_V = 0.5
/** Volts of the grid on which the transfer is turned round. */
const STEP_V = 0.005

/**
 * Ground offset of an analogue output: mean voltage minus the voltage that the transfer has for the known value. NaN in all figures when there are too few
 * readings or the transfer never has that value.
 * @throws RangeError for an offset beyond 0.5 V, which says that something else is wrong
 */
export function measureGroundOffset(input: GroundOffsetInput): GroundOffset {
  const { volts, transfer, knownValue, knownHalfWidth = 0, spanV = [0, 5] } = input
  let count = 0
  let mean = 0
  let squares = 0
  for (let i = 0; i < volts.length; i++) {
    const volt = volts[i]
    if (Number.isNaN(volt)) continue
    count++
    const step = volt - mean
    mean += step / count
    squares += step * (volt - mean)
  }
  const trueV = voltsOf(transfer, knownValue, spanV)
  if (count < LEAST_READINGS || Number.isNaN(trueV))
    return { offsetV: Number.NaN, uncertaintyV: Number.NaN, count }
  const offsetV = mean - trueV
  if (Math.abs(offsetV) > MOST_OFFSET_V) {
    throw new RangeError(
      `invalid ground offset: ${offsetV.toFixed(3)} V (expected within ±${MOST_OFFSET_V} V: is it the right output and transfer?)`,
    )
  }
  const slope = slopeAt(transfer, trueV)
  // A limit stands for an even spread within it.
  const knownV = slope > 0 ? knownHalfWidth / slope / Math.sqrt(3) : 0
  // Readings of one minute hang together: their spread itself, not divided by their number, is what may come back later.
  const spreadV = Math.sqrt(squares / (count - 1))
  return { offsetV, uncertaintyV: Math.hypot(spreadV, knownV), count }
}

/** Voltage at which a transfer has a value, by a search over the span and a straight line within the step; NaN if nowhere. */
export function voltsOf(transfer: SenderTransfer, value: number, spanV: readonly [number, number]): number {
  let beforeV = Number.NaN
  let before = Number.NaN
  const steps = Math.ceil((spanV[1] - spanV[0]) / STEP_V)
  for (let i = 0; i <= steps; i++) {
    const v = spanV[0] + ((spanV[1] - spanV[0]) * i) / steps
    const here = transfer(v)
    if (here === value) return v
    if ((before < value && here > value) || (before > value && here < value)) {
      return beforeV + ((v - beforeV) * (value - before)) / (here - before)
    }
    beforeV = v
    before = here
  }
  return Number.NaN
}

/** Size of a transfer's slope at a voltage, units per V; NaN where it has no value on both sides. */
export function slopeAt(transfer: SenderTransfer, volt: number): number {
  const above = transfer(volt + STEP_V)
  const below = transfer(volt - STEP_V)
  if (!Number.isNaN(above) && !Number.isNaN(below)) return Math.abs(above - below) / (2 * STEP_V)
  const here = transfer(volt)
  return Number.isNaN(above) ? Math.abs(here - below) / STEP_V : Math.abs(above - here) / STEP_V
}
