import type { Change } from '../contract/advice.ts'
import { judgeChoke, warmUpOfToday } from './chokeAdvice.ts'
import { boundedFactor } from './injectionFactors.ts'
import { COLD } from './injectionNumbers.ts'
import type { ObservedRun } from './runObservations.ts'

/** Fuel of the warm-up at a coolant temperature, as a factor of what it is now: measured λ ÷ target λ. */
export interface ColdFactor {
  coolant_C: number
  factor: number
  percent: number
}

const words = {
  early: 'The cold enrichment is too little: lean and unsteady while cold.',
  late: 'The cold enrichment is too much: rich and steady though the engine needs it no more.',
}

/** Factors of the newest warm-up that was driven with today's cold enrichment, by coolant, up to where the engine is warm; empty without one. */
export function findColdFactors(observed: readonly ObservedRun[], warmC: number): ColdFactor[] {
  const rows = warmUpOfToday(observed, COLD)?.lambda_by_coolant ?? []
  return rows
    .filter(([coolantC]) => coolantC < warmC)
    .map(([coolantC, lambda, target]) => {
      const factor = boundedFactor(lambda / target)
      return { coolant_C: Math.round(coolantC), factor, percent: Math.round((factor - 1) * 1000) / 10 }
    })
}

/** The change of the cold enrichment that the warm-up asks for; undefined when it was fine, or not seen. */
export function coldChange(
  observed: readonly ObservedRun[],
  factors: readonly ColdFactor[],
): Change | undefined {
  const verdict = judgeChoke(observed, COLD)
  const logs = factors.map(({ factor }) => Math.log(factor))
  const whole = Math.exp(logs.reduce((sum, each) => sum + each, 0) / logs.length)
  // An engine that stalls cold with the right mixture wants other help than fuel.
  if (!verdict || !(verdict === 'early' ? whole > 1 : whole < 1)) return undefined
  const label = `× ${whole.toFixed(2)}`
  return {
    circuit: 'choke',
    part: COLD,
    direction: verdict === 'early' ? 'richer' : 'leaner',
    from: observed[observed.length - 1].fitted[COLD] ?? { label: 'as it is' },
    to: { label },
    area_factor: Math.round(whole * 1000) / 1000,
    expected_lambda: null,
    expected_ci95: null,
    state: 'warm_up',
    because: [
      words[verdict],
      `The fuel of the cold engine ${label} on the whole; type in the factors of the table below, by coolant.`,
    ],
  }
}
