import type { ComparisonResult } from '../contract/advice.ts'
import { sentenceStart } from '../units/format.ts'
import { distanceWords, type MixtureUnit } from '../units/mixtureUnit.ts'
import { stateWords } from './stateWords.ts'

interface Compared {
  readonly verdict: ComparisonResult['verdict']
  readonly states: ComparisonResult['states']
  /** The air of both days is known. */
  readonly airKnown: boolean
  /** How many of the two runs are of an injection, which measures its own air. */
  readonly injections: number
  /** The run that tells neither throttle nor pressure, if one does. */
  readonly loadless: string | undefined
  /** Load is told in the same way in both, so that cruise is cruise. */
  readonly isAlike: boolean
  /** Of two cars neither is a change of the other. */
  readonly isTwoCars: boolean
  /** Names of the two fuels, if the runs were not driven on one. */
  readonly fuels: readonly [string, string] | undefined
  /** How distances are given. */
  readonly unit: MixtureUnit
}

/** The verdict of a comparison in words: `Leaner in the second run: cruise by λ 0.041 ± 0.006.` */
export function comparisonText(compared: Compared): string {
  const fuel = fuelText(compared)
  if (compared.isAlike) return `${verdictText(compared)}${fuel}`
  const { cruise: _, part_throttle: __, ...states } = compared.states
  return `${verdictText({ ...compared, states })}${fuel} In one run the pressure tells the load, in the other the throttle: cruise and part throttle are not the same in both, and not compared.`
}

function verdictText(compared: Compared): string {
  const { verdict, states, loadless, isTwoCars } = compared
  const second = isTwoCars ? 'second car' : 'second run'
  const air = airText(compared)
  if (verdict === 'not_enough_data') {
    if (loadless)
      return `The ${loadless} run tells neither throttle nor pressure: its driving cannot be held against the other's.${air}`
    const alike = stateNames(states, true)
    return alike === ''
      ? `The runs share too little steady driving.${air}`
      : `The runs share too little steady driving: only ${alike} could be compared, with no difference.${air}`
  }
  if (verdict === 'no_difference') {
    const open = stateNames(states, false)
    const rest = open === '' ? '' : ` Not compared for want of driving: ${open}.`
    return `No difference that weather, sensor and driving could not explain.${chanceText(states)}${rest}${air}`
  }
  const parts = (['leaner', 'richer'] as const).flatMap((side) => {
    const sizes = sizesOf(compared, side)
    return sizes.length > 0 ? [`${side} in the ${second}: ${sizes.join(', ')}`] : []
  })
  if (parts.length === 0)
    return `The ${second} is ${verdict} as a whole, though no one state shows it alone.${air}`
  return `${sentenceStart(parts.join('; '))}.${air}`
}

/** States that went to a side: `cruise by λ 0.041 ± 0.006`. */
function sizesOf({ states, unit }: Compared, side: 'leaner' | 'richer'): string[] {
  return Object.entries(states).flatMap(([state, { verdict, difference, ci95, ...more }]) => {
    if (verdict !== side || difference === null || ci95 === null) return []
    const { lambda_a } = more as { lambda_a?: number | null }
    // Where the step began matters for φ alone.
    const words = (step: number) => distanceWords(step, unit, lambda_a ?? 1, 1)
    const half = (ci95[1] - ci95[0]) / 2
    return [`${stateWords[state] ?? state} by ${unit.symbol} ${words(difference)} ± ${words(half)}`]
  })
}

/** Why a state whose own interval leaves nought out is still no difference; empty without such a state. */
function chanceText(states: ComparisonResult['states']): string {
  const compared = Object.entries(states).filter(([, { ci95 }]) => ci95 !== null)
  const odd = compared.filter(([, { ci95 }]) => ci95![0] > 0 || ci95![1] < 0)
  if (odd.length === 0 || compared.length < 2) return ''
  const names = odd.map(([state]) => stateWords[state] ?? state).join(' and ')
  return ` Alone, ${names} would count as one; of ${compared.length} states compared, one goes so far by chance now and then.`
}

/** States that could be compared, or those that could not, in words. */
function stateNames(states: ComparisonResult['states'], isCompared: boolean): string {
  return Object.entries(states)
    .filter(([, { verdict }]) => (verdict !== 'not_enough_data') === isCompared)
    .map(([state]) => stateWords[state] ?? state)
    .join(', ')
}

/** That another fuel moves the mixture as well; empty on one fuel. */
function fuelText({ fuels }: Compared): string {
  if (!fuels) return ''
  return ` The first run was driven on ${fuels[0]}, the second on ${fuels[1]}: that moves the mixture as well, and is in these figures.`
}

/** What was not done about the air, and why; empty when both runs were brought to home air. */
function airText({ injections, airKnown }: Compared): string {
  if (injections === 2) return ' The injection measures its own air: no air correction was applied.'
  if (!airKnown) return ' The air of one run is not known: the interval allows for any ordinary weather.'
  return injections === 1
    ? ' The injection measures its own air: only the other run was brought to home air.'
    : ''
}
