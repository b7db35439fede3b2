import type { RunAnalysis } from '../contract/result.ts'
import { type Fuel, fuelInTank } from '../fuel/fuels.ts'

/** Stoichiometric ratios further apart than this share are of two fuels: less is within what one pump's fuel scatters by. Chosen here. */
const ONE_FUEL = 0.02

/** The fuel that the run noted, else that of its car; undefined where none is named, or one that is not known. */
function fuelOf({ result, car }: RunAnalysis): Fuel | undefined {
  const inTank = result.run.fuel ?? car?.fuel
  if (!inTank) return undefined
  try {
    return fuelInTank(inTank)
  } catch {
    // A fuel that its maker does not know tells nothing.
    return undefined
  }
}

/** Names of the fuels of two runs that were not driven on one; undefined where they were, or one of them does not tell. The same jets give another λ on another fuel. */
export function twoFuels(a: RunAnalysis, b: RunAnalysis): readonly [string, string] | undefined {
  const one = fuelOf(a)
  const other = fuelOf(b)
  if (!one || !other) return undefined
  const isOne = Math.abs(Math.log(one.stoichiometricRatio / other.stoichiometricRatio)) <= ONE_FUEL
  return isOne ? undefined : [one.name, other.name]
}

/** That runs on another fuel than today's are left out, in a sentence; undefined without any. */
export function otherFuelSentence(left: readonly RunAnalysis[], today: RunAnalysis): string | undefined {
  const fuels = left.flatMap((run) => twoFuels(run, today) ?? [])
  if (fuels.length === 0) return undefined
  const others = [...new Set(fuels.filter((_, i) => i % 2 === 0))].join(' and ')
  const runs = left.length === 1 ? 'One earlier run was' : `${left.length} earlier runs were`
  const are = left.length === 1 ? 'it is' : 'they are'
  return `${runs} driven on ${others}, today's on ${fuels[1]}: jets that are right for one are not for the other, so ${are} left out.`
}
