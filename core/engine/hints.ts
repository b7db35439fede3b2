import type { AnalysisResult, Hint, SteadyPiece } from '../contract/result.ts'
import { idleHint } from './idleHint.ts'

export interface HintInput {
  readonly result: Pick<AnalysisResult, 'mixture' | 'mixture_2' | 'transients'>
  readonly pieces: readonly SteadyPiece[]
  /** Sensor gains by bank from free-air records, NaN without one. */
  readonly gains: readonly [number, number]
  readonly cylinders: number | undefined
  readonly bankName: string | undefined
}

const AGED_GAIN = 0.06
const BANKS_APART = 0.05
/** Engines from this many cylinders have two banks more often than not. */
const TWO_BANK_CYLINDERS = 8
/** Power over its target by more than this leaves no room for a leaner bank that nobody sees; the band of the trade ends here. */
const LEAN_POWER = 0.02

/**
 * What may make the reading lie: leak, misfire, camshaft, aged sensor, other bank; each with its evidence and one test that the owner can do. A hint
 * is no finding: thresholds are wide, so that few are false.
 */
export function findHints({ result, pieces, gains, cylinders, bankName }: HintInput): Hint[] {
  const hints: Hint[] = []
  const { cruise } = result.mixture
  // By the throttle alone a wide carburettor's cruise is taken for power.
  const isPowerKnown = pieces.some(({ state, manifoldKpa }) => state === 'power' && manifoldKpa > 0)
  const powerError = (isPowerKnown ? result.mixture.power?.error : null) ?? Number.NaN
  const atIdle = idleHint(
    result.mixture,
    pieces.filter(({ bank, state }) => bank === 1 && state === 'idle'),
  )
  if (atIdle) hints.push(atIdle)
  gains.forEach((gain, bank) => {
    if (!(Math.abs(gain - 1) > AGED_GAIN)) return
    hints.push({
      code: 'sensor_aged',
      text: `The sensor’s current in free air is ${Math.round(100 * Math.abs(gain - 1))} % ${gain > 1 ? 'over' : 'under'} nominal: it is corrected for, but the sensor is ageing or the check was not done in air.`,
      evidence: { bank: bank + 1, gain },
      test: 'Take the sensor out, let it hang in fresh air for five minutes and do the free-air check again.',
    })
  })
  const other = result.mixture_2?.cruise
  if (other && cruise && other.lambda_median !== null && cruise.lambda_median !== null) {
    const apart = other.lambda_median - cruise.lambda_median
    if (Math.abs(apart) > BANKS_APART) {
      hints.push({
        code: 'banks_differ',
        text: `The second bank is ${apart > 0 ? 'leaner' : 'richer'} than the first by ${Math.abs(apart).toFixed(2)} in cruise.`,
        evidence: { difference: apart },
        test: 'Swap the two sensors: if the difference moves with them, it is the sensor.',
      })
    }
  } else if (!result.mixture_2 && (cylinders ?? 0) >= TWO_BANK_CYLINDERS && powerError > LEAN_POWER) {
    hints.push({
      code: 'other_bank',
      text: `Under load this bank${bankName ? ` (${bankName})` : ''} is ${powerError.toFixed(2)} over its target, and one sensor sees one bank only: the other may be leaner still.`,
      evidence: { cylinders, banks_seen: 1, power_error: powerError },
      test: 'Read the plugs of both banks after a pull, or move the sensor to the other side for one drive.',
    })
  }
  return hints
}
