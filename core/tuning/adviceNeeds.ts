import type { AdviceResult } from '../contract/advice.ts'
import type { RunAnalysis } from '../contract/result.ts'
import { LEAST_SECONDS, STRONG_SHARE, secondsOf, TOO_WIDE } from './adviceStates.ts'
import { stateWords } from './compareRuns.ts'
import type { AdviceState } from './partPaths.ts'
import { type Band, shareInside } from './planCost.ts'
import type { ResponseModel } from './responseModel.ts'
import type { ObservedRun } from './runObservations.ts'

/** Chance inside the band that a state needs to be called finished, if its estimate lies inside. */
const SURE_ENOUGH = 0.75
/** Longest drive that is asked for in one state, s. */
const MOST_NEEDED_S = 120
const LEAST_NEEDED_S = 10

/** What must be driven before the states can be judged, or called finished. */
export function findNeeds(
  model: ResponseModel,
  bands: ReadonlyMap<AdviceState, Band>,
  known: ReadonlyMap<AdviceState, Band>,
  observed: readonly ObservedRun[],
  hasChange: boolean,
  today: RunAnalysis,
): NonNullable<AdviceResult['needs']> {
  const needs: NonNullable<AdviceResult['needs']> = []
  const hasLoad = today.result.map.load_channel !== 'none'
  for (const [state, band] of bands) {
    if ((state === 'running') === hasLoad && state !== 'idle') continue
    // A state that nothing fitted can move is told, not waited for.
    const isFed =
      model.paths.length === 0 || model.paths.some((path) => path.share[state] && isStrong(path.share[state]))
    if (!isFed) continue
    const words = stateWords[state] ?? state
    const now = known.has(state) ? model.forecast(state, model.base) : undefined
    if (!now) {
      needs.push({ state, seconds: state === 'idle' ? 30 : 20, why: `no steady ${words} was seen` })
      continue
    }
    const half = (band.high - band.low) / 2
    const seconds = secondsOf(observed, state)
    const isInside = now.mean <= band.high && now.mean >= band.low
    const surelyOutside = now.mean - 1.96 * now.sd > band.high || now.mean + 1.96 * now.sd < band.low
    const unsure = !surelyOutside && (now.sd > TOO_WIDE * half || seconds < LEAST_SECONDS)
    const onEdge =
      !hasChange &&
      !surelyOutside &&
      (!isInside || shareInside(now, band) < SURE_ENOUGH) &&
      now.sd > 0.25 * half
    if (!unsure && !onEdge) continue
    const wanted = unsure ? TOO_WIDE * 0.7 * half : 0.2 * half
    const more = Math.max(5, seconds) * ((now.sd / wanted) ** 2 - 1)
    needs.push({
      state,
      seconds: Math.round(Math.min(MOST_NEEDED_S, Math.max(LEAST_NEEDED_S, more)) / 5) * 5,
      why: unsure
        ? `${words} is known only to ± ${(1.96 * now.sd).toFixed(3)}`
        : `${words} is so near the edge of its band that more driving must decide`,
    })
  }
  return needs
}

function isStrong(share: readonly [number, number]): boolean {
  return share[0] >= STRONG_SHARE
}
