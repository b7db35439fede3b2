import type { AnalysisResult, Hint, SteadyPiece } from '../contract/result.ts'

export interface HintInput {
  readonly result: Pick<AnalysisResult, 'mixture' | 'mixture_2' | 'transients'>
  readonly pieces: readonly SteadyPiece[]
  /** Sensor gains by bank from free-air records, NaN without one. */
  readonly gains: readonly [number, number]
  readonly cylinders: number | undefined
  readonly bankName: string | undefined
}

/** Idle is looked at when it was steady for so long, s. */
const LEAST_IDLE_S = 20
/** Idle this much over its target, with cruise this near to its own, looks like air from outside. */
const LEAK_LEAN = 0.08
const CRUISE_FINE = 0.05
/** A leak lets in as much air whatever the flow, so in cruise it makes less than this share of what it makes at idle. */
const CRUISE_OF_IDLE = 0.35
/** A leak lets in the same air all the time: λ at idle scatters by less than this (middle half); a camshaft with overlap makes it restless. Chosen here. */
const CALM_IDLE_IQR = 0.025
/** The flow that thins the leak’s air scatters as an idle’s speed may (trade), and what the leak adds to λ by the same share. */
const LEAK_IQR_SHARE = 0.12
/**
 * Idle and cruise both lean by this much, cruise by this share of idle's at least: of n cylinders one that never fires adds 1/(n − 1) of λ everywhere, and
 * the others burn evenly. Chosen here.
 */
const LEAN_EVERYWHERE = 0.12
const EVERYWHERE_SHARE = 0.5
/** Scatter of idle speed from second to second, share: an older engine is steady below this, uneven over it. Common practice, no source. */
const UNEVEN_IDLE_SHARE = 0.045
/** Load of an idle that only much overlap (or a vacuum leak) gives; common practice, no source. */
const OVERLAP_LOAD = 0.5
const OVERLAP_IQR = 0.05
/** A lean idle whose λ is so restless (middle half) burns now and then only, even if the flywheel hides it. Chosen here. */
const MISFIRE_IQR = 0.07
const AGED_GAIN = 0.06
const BANKS_APART = 0.05
/** Engines from this many cylinders have two banks more often than not. */
const TWO_BANK_CYLINDERS = 8
/** Power over its target by more than this leaves no room for a leaner bank that nobody sees; the band of the trade ends here. */
const LEAN_POWER = 0.02

const PLUG_LEAD_TEST =
  'With the engine idling, unplug one plug lead after the other (insulated pliers): the cylinder that makes no difference misfires.'

/**
 * What may make the reading lie: leak, misfire, camshaft, aged sensor, other bank; each with its evidence and one test that the owner can do. A hint
 * is no finding: thresholds are wide, so that few are false.
 */
export function findHints({ result, pieces, gains, cylinders, bankName }: HintInput): Hint[] {
  const hints: Hint[] = []
  const { idle, cruise } = result.mixture
  const idlePieces = pieces.filter(({ bank, state }) => bank === 1 && state === 'idle')
  const uneven = speedScatter(idlePieces)
  const idleError = idle && idle.seconds >= LEAST_IDLE_S ? idle.error : null
  const cruiseError = cruise && cruise.seconds >= LEAST_IDLE_S ? cruise.error : null
  // By the throttle alone a wide carburettor's cruise is taken for power.
  const isPowerKnown = pieces.some(({ state, manifoldKpa }) => state === 'power' && manifoldKpa > 0)
  const powerError = (isPowerKnown ? result.mixture.power?.error : null) ?? Number.NaN
  const idleLoad = mean(idlePieces.map(({ load }) => load))
  const isOverlap = idleLoad > OVERLAP_LOAD && (idle?.lambda_iqr ?? 0) > OVERLAP_IQR
  if (isOverlap) {
    hints.push({
      code: 'overlap_camshaft',
      text: 'Idle pressure is high and its λ restless: a camshaft with much overlap passes air unburnt, so λ reads too lean at idle.',
      evidence: { idle_load: idleLoad, lambda_iqr: idle?.lambda_iqr },
      test: 'Set the idle screws by highest vacuum or speed, not by λ, and see whether the engine then idles best.',
    })
  } else if (idleError !== null && idleError > LEAK_LEAN) {
    if (uneven > UNEVEN_IDLE_SHARE || (idle?.lambda_iqr ?? 0) > MISFIRE_IQR) {
      hints.push({
        code: 'misfire',
        text: 'Idle reads lean and runs unevenly: a cylinder that misfires sends unburnt air, while its plug is wet.',
        evidence: { idle_error: idleError, speed_scatter: uneven, lambda_iqr: idle?.lambda_iqr },
        test: PLUG_LEAD_TEST,
      })
    } else if (
      idleError > LEAN_EVERYWHERE &&
      cruiseError !== null &&
      cruiseError > EVERYWHERE_SHARE * idleError
    ) {
      hints.push({
        code: 'misfire',
        text: 'Idle and cruise both read lean: a cylinder that never fires sends its air unburnt all the time, and more fuel for the others would not cure it.',
        evidence: { idle_error: idleError, cruise_error: cruiseError, speed_scatter: uneven },
        test: PLUG_LEAD_TEST,
      })
    } else if (
      uneven <= UNEVEN_IDLE_SHARE &&
      (idle?.lambda_iqr ?? 0) < Math.max(CALM_IDLE_IQR, LEAK_IQR_SHARE * idleError) &&
      cruiseError !== null &&
      isLeakIn(cruiseError, idleError)
    ) {
      hints.push({
        code: 'exhaust_leak',
        text: 'Idle reads lean and steady while cruise is fine: air may enter the exhaust before the sensor.',
        evidence: { idle_error: idleError, cruise_error: cruiseError, speed_scatter: uneven },
        test: 'With the engine cold and just started, feel and listen along the joints from head to sensor; soapy water blows bubbles at a leak.',
      })
    }
  }
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

/** Whether cruise is as near to its target as a leak that idle would show leaves it. */
const isLeakIn = (cruiseError: number, idleError: number) =>
  cruiseError > -CRUISE_FINE && cruiseError < Math.max(CRUISE_FINE, CRUISE_OF_IDLE * idleError)

/** Middle size of what scatters normally, in standard deviations. */
const MIDDLE_OF_SCATTER = 0.6745

/**
 * Scatter of the speed of neighbouring seconds of one visit, as a share: slow drift cancels, and so do the few steps that a load makes which
 * switches in and out (fan, cooling compressor), for the middle difference is taken.
 */
function speedScatter(pieces: readonly SteadyPiece[]): number {
  const steps: number[] = []
  for (let i = 1; i < pieces.length; i++) {
    if (pieces[i].visit !== pieces[i - 1].visit || !(pieces[i].rpm > 0)) continue
    steps.push(Math.abs(pieces[i].rpm - pieces[i - 1].rpm) / pieces[i].rpm)
  }
  return steps.length >= 5 ? middle(steps) / MIDDLE_OF_SCATTER / Math.SQRT2 : Number.NaN
}

function mean(values: readonly number[]): number {
  return values.length > 0 ? values.reduce((a, b) => a + b, 0) / values.length : Number.NaN
}

function middle(values: number[]): number {
  values.sort((a, b) => a - b)
  const half = values.length >> 1
  return values.length % 2 === 1 ? values[half] : (values[half - 1] + values[half]) / 2
}
