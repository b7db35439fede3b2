import type { Part } from '../contract/car.ts'
import { sentenceStart } from '../units/format.ts'
import { stateWords } from './compareRuns.ts'
import type { AdviceState } from './partPaths.ts'
import type { Band } from './planCost.ts'
import type { Forecast } from './responseModel.ts'

/** Words for parts, as the trade says them. */
const partWords: Readonly<Record<string, string>> = {
  idle_screws: 'idle mixture screws',
  idle_jet: 'idle jet',
  idle_feed_restriction: 'idle feed restriction',
  idle_air_bleed: 'idle air bleed',
  main_jet: 'main jet',
  main_air_bleed: 'main air bleed',
  idle_feed: 'idle feed restriction',
  rod: 'metering rod',
  rod_spring: 'metering rod spring',
  choke: 'choke',
  power_restriction: 'power restriction',
  power_valve: 'power valve',
  secondary_jet: 'secondary jet',
  secondary_plate: 'secondary plate',
  secondary_rod: 'secondary rod',
  squirter: 'squirter',
  pump_cam: 'pump cam',
  opening_spring: 'opening spring',
}

/** A part's name in words; an unknown one with its underscores taken out. */
export function partWord(part: string): string {
  return partWords[part] ?? part.replaceAll('_', ' ')
}

/** A part's size in words: `71 (1.85 mm)`, `1.50 turns`. */
export function sizeWord(part: Part): string {
  if (part.turns !== undefined) return `${part.turns.toFixed(2)} turns`
  if (part.bore_mm !== undefined) return `${part.label} (${part.bore_mm.toFixed(2)} mm)`
  if (part.opens_inHg !== undefined) return `${part.label} (opens at ${part.opens_inHg.toFixed(1)} inHg)`
  if (part.volume_ml !== undefined) return `${part.label} (${part.volume_ml.toFixed(1)} ml)`
  return part.label
}

/** λ with two decimals, its 95 % limits as `between … and …`. */
export function rangeWord(forecast: Forecast): string {
  const low = Math.exp(forecast.mean - 1.96 * forecast.sd)
  const high = Math.exp(forecast.mean + 1.96 * forecast.sd)
  return `λ ${Math.exp(forecast.mean).toFixed(2)}, between ${low.toFixed(2)} and ${high.toFixed(2)}`
}

/** One sentence on how a state stands: `Cruise is rich by 0.08: λ 0.94 ± 0.01, target 1.02 (141 s of steady driving).` */
export function standingSentence(
  state: AdviceState,
  forecast: Forecast,
  band: Band,
  seconds: number,
): string {
  const lambda = Math.exp(forecast.mean)
  const error = lambda - band.target.lambda
  const half = 1.96 * forecast.sd * lambda
  const word = stateWords[state] ?? state
  const name = sentenceStart(word)
  const side = forecast.mean > band.high ? 'lean' : forecast.mean < band.low ? 'rich' : undefined
  const head = side ? `${name} is ${side} by ${Math.abs(error).toFixed(2)}` : `${name} is on target`
  const proof = seconds > 0 ? ` (${Math.round(seconds)} s of steady driving)` : ''
  return `${head}: λ ${lambda.toFixed(2)} ± ${half.toFixed(2)} at home air, target ${band.target.lambda.toFixed(2)}${proof}.`
}

/** One sentence on how a state should stand before a later step: `After the steps before, power should be lean by 0.04: λ 0.91 ± 0.06, target 0.87.` */
export function plannedSentence(state: AdviceState, forecast: Forecast, band: Band): string {
  const lambda = Math.exp(forecast.mean)
  const half = 1.96 * forecast.sd * lambda
  const side = forecast.mean > band.high ? 'lean' : forecast.mean < band.low ? 'rich' : undefined
  const how = side ? `${side} by ${Math.abs(lambda - band.target.lambda).toFixed(2)}` : 'on target'
  return `After the steps before, ${stateWords[state] ?? state} should be ${how}: λ ${lambda.toFixed(2)} ± ${half.toFixed(2)}, target ${band.target.lambda.toFixed(2)}.`
}

/** Share as a percentage with its standard deviation: `80 ± 20 %`. */
export function shareWord(share: { mean: number; sd: number }): string {
  return `${Math.round(100 * share.mean)} ± ${Math.round(100 * share.sd)} %`
}

/** Area change in words: `5 % less area`. */
export function areaWord(factor: number, isTurns: boolean): string {
  const percent = Math.round(Math.abs(factor - 1) * 100)
  const thing = isTurns ? 'turns' : 'area'
  return `${percent} % ${factor > 1 ? 'more' : 'less'} ${thing}`
}
