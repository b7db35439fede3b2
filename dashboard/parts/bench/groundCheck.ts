import { measureGroundOffset, slopeAt, voltsOf } from '../../../core/sensing/groundOffset.ts'
import { parseSenderTransfer } from '../../../core/sensing/senderTransfer.ts'

/** What a comparison with a known value came to. */
export interface GroundCheckResult {
  offsetV: number
  uncertaintyV: number
  /** λ that the reading was off by before, and the standard uncertainty that is left. */
  offsetLambda: number
  uncertaintyLambda: number
  /** Readings it rests on. */
  count: number
}

/** Below this the engine is not warm, °C; a usual thermostat opens at 80. Common practice, no source. */
const warmC = 60

/**
 * Compares an analogue output with what the device itself shows.
 * @param entry the input's entry of the car's profile
 * @throws RangeError in words for a person
 */
export function checkGround(
  volts: readonly number[],
  entry: unknown,
  knownLambda: number,
  knownHalfWidth: number,
): GroundCheckResult {
  const transfer = parseSenderTransfer((entry as { transfer?: unknown } | undefined)?.transfer)
  const { offsetV, uncertaintyV, count } = measureGroundOffset({
    volts,
    transfer,
    knownValue: knownLambda,
    knownHalfWidth,
  })
  if (Number.isNaN(offsetV)) {
    throw new RangeError(
      Number.isNaN(voltsOf(transfer, knownLambda, [0, 5]))
        ? `the output never says λ ${knownLambda}: is its line or table right?`
        : `only ${count} readings came: is the board connected, and the input the right one?`,
    )
  }
  const slope = slopeAt(transfer, voltsOf(transfer, knownLambda, [0, 5]))
  return {
    offsetV,
    uncertaintyV,
    offsetLambda: offsetV * slope,
    uncertaintyLambda: uncertaintyV * slope,
    count,
  }
}

/** What speaks against comparing now; empty when nothing does. */
export function groundDoubt(engineSpeedRpm: number, coolantC: number): string {
  if (engineSpeedRpm < 100)
    return 'The engine is off: the loads of a drive, and the ground’s share, are missing.'
  if (coolantC < warmC)
    return `The engine is not warm yet (${Math.round(coolantC)} °C): wait, the grounds warm up too.`
  return ''
}
