import type { Change } from '../contract/advice.ts'
import type { Fitted } from '../contract/car.ts'
import type { TransientPattern } from '../contract/result.ts'
import type { MixtureUnit } from '../units/mixtureUnit.ts'
import { ACCELERATION, accelerationLabel } from './injectionNumbers.ts'
import { countSentence } from './pumpAdvice.ts'
import { curedPatternOf, type PumpVerdict } from './pumpVerdict.ts'

/** What the openings ask of an injection's acceleration enrichment, as factors of what is typed in now. */
export interface AccelerationFactor {
  pattern: TransientPattern
  /** On the amount; 1 where how long it lasts is to be changed. */
  factor: number
  /** On its decay: over 1 it lasts longer. */
  decay_factor: number
  tip_ins: number
  count: number
}

/** About this share of the fuel just after an opening is the enrichment's: a mixture that is off by x asks for x over this share of it. Chosen here. */
const ENRICHED_SHARE = 0.5
/** Most that is typed in at once, as a factor. Chosen here. */
const MOST_FACTOR = 2
/** First step for the decay, as a factor. Common practice, no source. */
const DECAY_FACTOR = 1.5

/** The factors for the pattern that most openings show; null where they show none, or one that this number does not cure. */
export function findAcceleration(pump: PumpVerdict): AccelerationFactor | null {
  const pattern = curedPatternOf(pump)
  const [factor, decayFactor] = factorsFor(pattern, Math.abs(pump.peak ?? 0) / ENRICHED_SHARE)
  if (!pattern || (factor === 1 && decayFactor === 1)) return null
  return { pattern, factor, decay_factor: decayFactor, tip_ins: pump.tipIns, count: pump.all }
}

function factorsFor(pattern: TransientPattern | null, share: number): [factor: number, decayFactor: number] {
  switch (pattern) {
    case 'lean_at_once':
      return [rounded(Math.min(MOST_FACTOR, 1 + share)), 1]
    case 'rich':
      return [rounded(Math.max(1 / MOST_FACTOR, 1 - share)), 1]
    case 'lean_later':
      return [1, DECAY_FACTOR]
    case 'lean_then_rich':
      return [1, rounded(1 / DECAY_FACTOR)]
    default:
      return [1, 1]
  }
}

/** The number to type in for it. */
export function accelerationChange(
  asked: AccelerationFactor,
  pump: PumpVerdict,
  fitted: Fitted,
  unit: MixtureUnit,
): Change {
  const isDecay = asked.factor === 1
  return {
    circuit: 'pump',
    part: ACCELERATION,
    direction: asked.pattern === 'rich' || asked.pattern === 'lean_then_rich' ? 'leaner' : 'richer',
    from: fitted[ACCELERATION] ?? { label: 'as it is' },
    to: { label: accelerationLabel(asked) },
    area_factor: isDecay ? null : asked.factor,
    expected_lambda: null,
    expected_ci95: null,
    state: 'tip_in',
    because: [
      countSentence(pump, asked.pattern, unit),
      isDecay
        ? `Its fuel ${asked.decay_factor > 1 ? 'ends too early: let it die away more slowly' : 'comes late and lasts too long: let it die away faster'}. Where the injection spreads a fixed amount over the decay, change the amount by the same factor.`
        : `The fuel that an opening adds ${accelerationLabel(asked)}, its decay as it is.`,
    ],
  }
}

const rounded = (factor: number) => Math.round(factor * 100) / 100
