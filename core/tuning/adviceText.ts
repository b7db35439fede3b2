import { sentenceStart } from '../units/format.ts'
import { distanceWords, type MixtureUnit, mixtureRange, mixtureWords } from '../units/mixtureUnit.ts'
import type { AdviceState } from './partPaths.ts'
import { type Band, shareInside } from './planCost.ts'
import type { Forecast } from './responseModel.ts'
import { stateWords } from './stateWords.ts'

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

/** True for a part of which several are spoken of. */
export const isPlural = (part: string) => partWord(part).endsWith('screws')

/** A forecast in the unit shown, its 95 % limits as `between … and …`. */
export function rangeWord(forecast: Forecast, unit: MixtureUnit): string {
  const limits = [-1.96, 1.96].map((z) => Math.exp(forecast.mean + z * forecast.sd))
  const [low, high] = mixtureRange(limits, unit).map((value) => value.toFixed(unit.decimals))
  return `${mixtureWords(Math.exp(forecast.mean), unit)}, between ${low} and ${high}`
}

/** One sentence on how a state stands: `Cruise is rich by 0.08: λ 0.94 ± 0.01 at home air, target 1.02 (141 s of steady driving).` */
export function standingSentence(
  state: AdviceState,
  forecast: Forecast,
  band: Band,
  seconds: number,
  unit: MixtureUnit,
): string {
  const name = sentenceStart(stateWords[state] ?? state)
  const proof = seconds > 0 ? ` (${Math.round(seconds)} s of steady driving)` : ''
  return `${name} is ${sideWord(forecast, band, unit)}: ${doubtWord(forecast, unit)} at home air, target ${targetWord(band, unit)}${proof}.`
}

/** One sentence on how a state should stand before a later step: `After the steps before, power should be lean by 0.04: λ 0.91 ± 0.06, target 0.87.` */
export function plannedSentence(
  state: AdviceState,
  forecast: Forecast,
  band: Band,
  unit: MixtureUnit,
): string {
  return `After the steps before, ${stateWords[state] ?? state} should be ${sideWord(forecast, band, unit)}: ${doubtWord(forecast, unit)}, target ${targetWord(band, unit)}.`
}

/** Chance inside its band from which a state is called on target without more words. Chosen here. */
const PLAINLY_ON_TARGET = 0.75

/** `rich by 0.08`, `lean by 0.04`, `on target`, `on target, though it may be lean`. */
function sideWord(forecast: Forecast, band: Band, unit: MixtureUnit): string {
  const side = forecast.mean > band.high ? 'lean' : forecast.mean < band.low ? 'rich' : undefined
  const { lambda } = band.target
  if (side) return `${side} by ${distanceWords(Math.exp(forecast.mean) - lambda, unit, lambda)}`
  if (shareInside(forecast, band) >= PLAINLY_ON_TARGET) return 'on target'
  const isLeanSide = forecast.mean > (band.high + band.low) / 2
  return `on target, though it may be ${isLeanSide ? 'lean' : 'rich'}`
}

/** `λ 0.94 ± 0.01`. */
function doubtWord({ mean, sd }: Forecast, unit: MixtureUnit): string {
  const lambda = Math.exp(mean)
  return `${mixtureWords(lambda, unit)} ± ${distanceWords(1.96 * sd * lambda, unit, lambda)}`
}

const targetWord = (band: Band, unit: MixtureUnit) => unit.of(band.target.lambda).toFixed(unit.decimals)

/** Share as a percentage with its standard deviation: `80 ± 20 %`. */
export function shareWord(share: { mean: number; sd: number }): string {
  return `${Math.round(100 * share.mean)} ± ${Math.round(100 * share.sd)} %`
}

/** Change of an opening in words: `5 % less area`, of a screw `17 % further open`. */
export function areaWord(factor: number, isScrew: boolean): string {
  const percent = Math.round(Math.abs(factor - 1) * 100)
  if (isScrew) return `${percent} % ${factor > 1 ? 'further' : 'less'} open`
  return `${percent} % ${factor > 1 ? 'more' : 'less'} area`
}
