import type { AnalysisResult, Hint, SteadyPiece } from '../contract/result.ts'
import { meanOf, medianOf } from '../numeric/average.ts'

/** Idle is looked at when it was steady for so long, s. */
const LEAST_IDLE_S = 20
/** Idle this much over its target, with cruise this near to its own, looks like air from outside. */
const LEAK_LEAN = 0.08
const CRUISE_FINE = 0.05
/** A leak lets in as much air whatever the flow, so in cruise it makes less than this share of what it makes at idle. */
const CRUISE_OF_IDLE = 0.36
/** A leak lets in the same air all the time: λ at idle scatters by less than this (middle half); a camshaft with overlap makes it restless. Chosen here. */
const CALM_IDLE_IQR = 0.025
/** The flow that thins the leak’s air scatters as an idle’s speed may (trade), and what the leak adds to λ by the same share. */
const LEAK_IQR_SHARE = 0.18
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
/** A lean idle whose λ scatters by this, and by this share of how lean it is, is restless though its speed holds: more than a leak, less than misfires. Chosen here. */
const RESTLESS_IQR = 0.03
const RESTLESS_SHARE = 0.25
/** A lean idle whose λ is so restless (middle half) burns now and then only, even if the flywheel hides it. Chosen here. */
const MISFIRE_IQR = 0.07
const OVERLAP_TEST =
  'Set the idle screws by highest vacuum or speed, not by λ, and see whether the engine then idles best.'
const PLUG_LEAD_TEST =
  'With the engine idling, unplug one plug lead after the other (insulated pliers): the cylinder that makes no difference misfires.'

/**
 * Why an idle may read lean when it is not: overlap, misfire or a leak, the one that its scatter and cruise speak for; undefined where nothing does.
 * `pieces` are the idle's steady seconds.
 */
export function idleHint(
  { idle, cruise }: AnalysisResult['mixture'],
  pieces: readonly SteadyPiece[],
): Hint | undefined {
  const speedShare = speedScatter(pieces)
  const iqr = idle?.lambda_iqr ?? 0
  const load = meanOf(pieces.map((piece) => piece.load))
  if (load > OVERLAP_LOAD && iqr > OVERLAP_IQR) {
    return {
      code: 'overlap_camshaft',
      text: 'Idle pressure is high and its λ restless: a camshaft with much overlap passes air unburnt, so λ reads too lean at idle.',
      evidence: { idle_load: load, lambda_iqr: iqr },
      test: OVERLAP_TEST,
    }
  }
  const error = idle && idle.seconds >= LEAST_IDLE_S ? idle.error : null
  if (error === null || !(error > LEAK_LEAN)) return undefined
  const cruiseError = cruise && cruise.seconds >= LEAST_IDLE_S ? (cruise.error ?? Number.NaN) : Number.NaN
  if (speedShare > UNEVEN_IDLE_SHARE || iqr > MISFIRE_IQR) {
    return {
      code: 'misfire',
      text:
        speedShare > UNEVEN_IDLE_SHARE
          ? 'Idle reads lean and runs unevenly: a cylinder that misfires sends unburnt air, while its plug is wet.'
          : 'Idle reads lean and its λ comes and goes though the speed holds: a cylinder that misfires now and then, or a camshaft with much overlap, passes air unburnt.',
      evidence: { idle_error: error, speed_scatter: speedShare, lambda_iqr: iqr },
      test: PLUG_LEAD_TEST,
    }
  }
  if (error > LEAN_EVERYWHERE && cruiseError > EVERYWHERE_SHARE * error) {
    return {
      code: 'misfire',
      text: 'Idle and cruise both read lean: a cylinder that never fires sends its air unburnt all the time, and more fuel for the others would not cure it.',
      evidence: { idle_error: error, cruise_error: cruiseError, speed_scatter: speedShare },
      test: PLUG_LEAD_TEST,
    }
  }
  if (iqr > Math.max(RESTLESS_IQR, RESTLESS_SHARE * error)) {
    return {
      code: 'overlap_camshaft',
      text: 'Idle reads lean and its λ is restless though its speed holds: a camshaft with overlap passes air unburnt, or the mixture now and then fails to burn.',
      evidence: { idle_error: error, lambda_iqr: iqr, idle_load: load },
      test: OVERLAP_TEST,
    }
  }
  const isCalm = speedShare <= UNEVEN_IDLE_SHARE && iqr < Math.max(CALM_IDLE_IQR, LEAK_IQR_SHARE * error)
  if (!isCalm || !isLeakIn(cruiseError, error)) return undefined
  return {
    code: 'exhaust_leak',
    text: 'Idle reads lean and steady while cruise is fine: air may enter the exhaust before the sensor.',
    evidence: { idle_error: error, cruise_error: cruiseError, speed_scatter: speedShare },
    test: 'With the engine cold and just started, feel and listen along the joints from head to sensor; soapy water blows bubbles at a leak.',
  }
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
  return steps.length >= 5 ? medianOf(steps) / MIDDLE_OF_SCATTER / Math.SQRT2 : Number.NaN
}
