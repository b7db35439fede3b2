import type { Mixture, MixtureState, SteadyPiece } from '../contract/result.ts'
import { mixtureStates } from '../contract/result.ts'
import { stateCode } from '../engine/operatingState.ts'
import { gainUncertainty } from '../sensing/freeAir.ts'
import { lambdaUncertainty } from '../sensing/lambdaUncertainty.ts'
import { summariseMixture } from '../tuning/mixture.ts'
import { channelSlots as slot } from './channels.ts'
import type { RunSettings } from './runKnowledge.ts'
import type { RunView } from './runView.ts'

/** What averaging never takes away of a current-sensed λ: the reading's own steps and curve. */
const SYSTEMATIC_LAMBDA = 0.001

/**
 * Without manifold pressure the limits between these states are a guess by the throttle: a share of what is laid to one may belong to the next, as a
 * standard uncertainty. Without a throttle sensor, pressure tells less well when it is still. Common practice, no source.
 */
const loadedStates = ['cruise', 'part_throttle', 'power'] as const
const NEIGHBOUR_SHARE = 0.35
const NEIGHBOUR_SHARE_BY_PRESSURE = 0.15

/** How far a state's mixture may be off since its limits are not seen: a share of the way to the farther of its neighbours, λ. */
function limitDoubt(view: RunView, bank: 1 | 2, state: MixtureState, present: Uint8Array): number {
  const hasPressure = present[slot.manifold_pressure] === 1
  const hasThrottle = present[slot.throttle] === 1
  const at = (loadedStates as readonly string[]).indexOf(state)
  if ((hasPressure && hasThrottle) || at < 0) return 0
  const medianOf = (name: MixtureState | undefined) =>
    name ? view.findings.spreads[bank - 1][stateCode[name]].quantile(0.5) : Number.NaN
  const own = medianOf(state)
  let most = 0
  for (const name of [loadedStates[at - 1], loadedStates[at + 1]]) {
    const apart = Math.abs(medianOf(name) - own)
    if (apart > most) most = apart
  }
  return most * (hasPressure ? NEIGHBOUR_SHARE_BY_PRESSURE : NEIGHBOUR_SHARE)
}

/** Mixture of each state of a bank that was seen steady, with all that averaging does not take away in its interval. */
export function stateMixture(
  view: RunView,
  bank: 1 | 2,
  { outputUncertainty, gains, sensor, limits }: RunSettings,
  present: Uint8Array,
): Partial<Record<MixtureState, Mixture>> {
  const { findings } = view
  const mixture: Partial<Record<MixtureState, Mixture>> = {}
  for (const state of mixtureStates) {
    const spread = findings.spreads[bank - 1][stateCode[state]]
    if (!(spread.seconds() > 0)) continue
    const pieces = findings.pieces.filter((piece) => piece.bank === bank && piece.state === state)
    const middle = spread.quantile(0.5)
    // Neither does it take away the gain's error, nor the ground's of a λ that comes as a voltage.
    const output = outputUncertainty[bank - 1]?.(middle) ?? 0
    const gainShare = gainUncertainty(gains[bank - 1])
    const { gain } = lambdaUncertainty({ lambda: middle, gainShare }, sensor)
    const systematic = Math.hypot(
      SYSTEMATIC_LAMBDA,
      output,
      Number.isNaN(gain) ? 0 : gain,
      limitDoubt(view, bank, state, present),
    )
    mixture[state] = {
      ...summariseMixture(
        bank,
        state,
        pieces,
        spread,
        systematic,
        findings.unreadS[bank - 1][stateCode[state]],
      ),
      ...coldPart(state, pieces, limits.warm_C),
    }
  }
  return mixture
}

/** Full load counts as power at any coolant temperature; how much of it was driven cold is told beside it. */
function coldPart(state: MixtureState, pieces: readonly SteadyPiece[], warmC: number): { cold_s?: number } {
  if (state !== 'power') return {}
  let seconds = 0
  for (const piece of pieces) if (piece.coolantC < warmC) seconds += piece.seconds
  return seconds > 0 ? { cold_s: seconds } : {}
}
