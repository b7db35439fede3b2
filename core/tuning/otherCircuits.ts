import { type CarProfile, isInjection } from '../contract/car.ts'
import type { RunAnalysis } from '../contract/result.ts'
import type { CircuitVerdict } from './circuitVerdict.ts'
import { judgePump, type PumpVerdict, patternWords } from './pumpVerdict.ts'

/** Words for a pump that waits for the other circuits. */
export const JUDGED_LAST = 'judged last'

/** Distance from target of main or power that carries a tip-in's peak with it, λ: half of what counts as a peak. */
const CARRYING_ERROR = 0.05

/** The pump as the tip-ins tell it; it waits while a steady circuit takes it along. */
export function pumpRow(
  run: RunAnalysis,
  car: CarProfile | undefined,
  others: readonly CircuitVerdict[],
): CircuitVerdict {
  const pump = judgePump([run], car)
  const isOff = pump.verdict === 'lean' || pump.verdict === 'rich'
  const carrier = others.find(
    (row) =>
      isOff && row.verdict === pump.verdict && Math.abs(row.error) > CARRYING_ERROR && row.circuit !== 'idle',
  )
  const row = pumpRowOf(pump, car)
  return carrier ? { ...row, ...waiting(pump, carrier) } : row
}

/** The others move the pump's baseline: while one of them is off to the same side, the pump is not judged. */
function waiting(pump: PumpVerdict, carrier: CircuitVerdict): Partial<CircuitVerdict> {
  return {
    verdict: 'not_enough_data',
    words: JUDGED_LAST,
    error: Number.NaN,
    counted: `${pump.all} of ${pump.tipIns}`,
    missing: `${carrier.name.toLowerCase()} is ${carrier.verdict} and takes it along`,
  }
}

function pumpRowOf(pump: PumpVerdict, car: CarProfile | undefined): CircuitVerdict {
  const isOff = pump.verdict === 'lean' || pump.verdict === 'rich'
  const row: CircuitVerdict = {
    circuit: 'pump',
    name: isInjection(car) ? 'Acceleration' : 'Pump',
    detail: `${pump.tipIns} tip-in${pump.tipIns === 1 ? '' : 's'}`,
    verdict: pump.verdict,
    words:
      isOff && pump.pattern
        ? patternWords[pump.pattern]
        : pump.verdict === 'on_target'
          ? 'on target'
          : 'not enough data',
    error:
      isOff && pump.peak !== null ? (pump.verdict === 'rich' ? -1 : 1) * Math.abs(pump.peak) : Number.NaN,
    half95: Number.NaN,
    target: Number.NaN,
    // Tip-ins are judged against these peaks over and under target. Common practice, no source.
    bandRich: 0.12,
    bandLean: 0.1,
    seconds: 0,
    counted: isOff ? `${pump.all} of ${pump.tipIns}` : '',
  }
  if (pump.verdict === 'not_enough_data') row.missing = `${Math.max(1, 10 - pump.tipIns)} more tip-ins`
  return row
}

/** The choke as the warm-up tells it; undefined without one that tells. */
export function chokeRow(run: RunAnalysis, car: CarProfile | undefined): CircuitVerdict | undefined {
  const warmUp = run.result.warm_up
  if (!warmUp || warmUp.choke === 'unknown') return undefined
  const isTyped = isInjection(car)
  const words = isTyped
    ? { early: 'too little', late: 'too much', fine: 'on target' }
    : { early: 'off too early', late: 'off too late', fine: 'on target' }
  return {
    circuit: 'choke',
    name: isTyped ? 'Cold enrichment' : 'Choke',
    detail:
      warmUp.self_idle_coolant_C === null
        ? 'cold start'
        : `idles by itself from ${Math.round(warmUp.self_idle_coolant_C)} °C`,
    verdict: warmUp.choke === 'fine' ? 'on_target' : warmUp.choke === 'early' ? 'lean' : 'rich',
    words: words[warmUp.choke],
    error: Number.NaN,
    half95: Number.NaN,
    target: Number.NaN,
    bandRich: 0.08,
    bandLean: 0.08,
    seconds: 0,
    counted: warmUp.self_idle_s === null ? '' : `${Math.round(warmUp.self_idle_s)} s`,
  }
}
