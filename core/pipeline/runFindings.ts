import type { AlarmEntry, StateSpan, SteadyPiece, Transient } from '../contract/result.ts'
import { trust } from '../engine/lambdaStage.ts'
import { stateCode, stateNames } from '../engine/operatingState.ts'
import { createLambdaSpread, type LambdaSpread } from '../tuning/mixture.ts'
import { createMapSums, type MapSums } from '../tuning/mixtureMap.ts'

/** What a pass over the whole run found. */
export interface RunFindings {
  readonly spans: StateSpan[]
  readonly transients: Transient[]
  readonly alarms: AlarmEntry[]
  readonly pieces: SteadyPiece[]
  readonly gaps: { start_s: number; end_s: number }[]
  /** Seconds without a usable λ, by reason. */
  readonly untrustedS: { warming: number; fault: number; overrun: number; delay_edge: number; gap: number }
  /** Steady seconds that were not read and may be unlike those read, by bank and state code. */
  readonly unreadS: readonly [Float64Array, Float64Array]
  /** By state code and bank. */
  readonly spreads: [LambdaSpread[], LambdaSpread[]]
  readonly maps: [MapSums, MapSums]
}

/** Nothing found yet. @param loadChannel what the maps lay the mixture over, beside engine speed */
export function createRunFindings(loadChannel: Parameters<typeof createMapSums>[0]): RunFindings {
  return {
    spans: [],
    transients: [],
    alarms: [],
    pieces: [],
    gaps: [],
    untrustedS: { warming: 0, fault: 0, overrun: 0, delay_edge: 0, gap: 0 },
    unreadS: [new Float64Array(stateNames.length), new Float64Array(stateNames.length)],
    spreads: [stateNames.map(createLambdaSpread), stateNames.map(createLambdaSpread)],
    maps: [createMapSums(loadChannel), createMapSums(loadChannel)],
  }
}

/** Counts a moment whose λ could not be used. @param reason trust of its λ */
export function countUntrusted(
  { untrustedS }: RunFindings,
  state: number,
  reason: number,
  dtS: number,
): void {
  if (reason === trust.warming) untrustedS.warming += dtS
  else if (reason === trust.fault) untrustedS.fault += dtS
  else if (state === stateCode.overrun) untrustedS.overrun += dtS
  else if (reason === trust.gap) untrustedS.gap += dtS
}
