import { checkPositive } from '../numeric/checkRange.ts'
import type { NumberColumn } from '../numeric/monotoneCurve.ts'
import type { LinearTransfer } from './linearTransfer.ts'

/** λ below and above which a board's own figure is taken for its end stop or nonsense: common practice, no source. */
export const LEAST_REPORTED_LAMBDA = 0.4
export const MOST_REPORTED_LAMBDA = 20

/** How a board that works λ out itself puts it. */
export type BoardLambdaOutput =
  | { readonly kind: 'lambda' }
  /** Air/fuel ratio computed with this stoichiometric ratio: the board's setting, not the fuel in the tank. */
  | { readonly kind: 'afr'; readonly stoichiometricRatio: number }
  /** Voltage whose line gives λ. */
  | { readonly kind: 'volts_lambda'; readonly transfer: LinearTransfer }
  /** Voltage whose line gives an air/fuel ratio computed with this stoichiometric ratio. */
  | { readonly kind: 'volts_afr'; readonly transfer: LinearTransfer; readonly stoichiometricRatio: number }

/**
 * λ of a board's output column. NaN for NaN, outside a voltage span, and outside λ 0.4 to 20. No allocation; `target`
 * may be the same column. Throws `RangeError` for a stoichiometric ratio that is not positive.
 */
export function lambdaFromBoardInto<T extends NumberColumn>(
  target: T,
  output: NumberColumn,
  board: BoardLambdaOutput,
): T {
  let scale = 1
  let offset = 0
  let least = -Infinity
  let most = Infinity
  if (board.kind === 'volts_lambda' || board.kind === 'volts_afr') {
    scale = board.transfer.perVolt
    offset = board.transfer.atZero
    least = board.transfer.leastV
    most = board.transfer.mostV
  }
  if (board.kind === 'afr' || board.kind === 'volts_afr') {
    checkPositive('stoichiometricRatio', board.stoichiometricRatio)
    scale /= board.stoichiometricRatio
    offset /= board.stoichiometricRatio
  }
  for (let i = 0; i < output.length; i++) {
    const reading = output[i]
    const lambda = reading * scale + offset
    const isUsable =
      reading >= least && reading <= most && lambda >= LEAST_REPORTED_LAMBDA && lambda <= MOST_REPORTED_LAMBDA
    target[i] = isUsable ? lambda : NaN
  }
  return target
}

/** `lambdaFromBoardInto` for one reading. */
export function lambdaFromBoard(reading: number, board: BoardLambdaOutput): number {
  return lambdaFromBoardInto(new Float64Array(1), Float64Array.of(reading), board)[0]
}
