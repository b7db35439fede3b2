import type { Change } from '../contract/advice.ts'
import type { Circuit, Fitted, Part } from '../contract/car.ts'
import { sentenceStart } from '../units/format.ts'
import type { MixtureUnit } from '../units/mixtureUnit.ts'
import { secondsOf } from './adviceStates.ts'
import { areaWord, partWord, plannedSentence, rangeWord, shareWord, standingSentence } from './adviceText.ts'
import { round } from './compareRuns.ts'
import type { EnrichmentStep } from './enrichmentStep.ts'
import { type AreaPerFlow, reckonedSentence } from './flowFigures.ts'
import {
  type AdviceState,
  circuitOfPart,
  type FuelPath,
  fuelPaths,
  isSamePart,
  pathFactor,
  valveParts,
} from './partPaths.ts'
import { type Choices, costOf } from './planChanges.ts'
import type { Band } from './planCost.ts'
import type { ResponseModel } from './responseModel.ts'
import type { ObservedRun } from './runObservations.ts'
import { type BoreUnit, sizesWord } from './sizeWords.ts'
import { stateWords } from './stateWords.ts'

interface ChangeInput {
  model: ResponseModel
  bands: ReadonlyMap<AdviceState, Band>
  part: string
  before: Fitted
  after: Fitted
  observed: readonly ObservedRun[]
  /** A richer size than the plan's was taken, to keep power safe meanwhile. */
  isSafer: boolean
  step: EnrichmentStep | undefined
  choices: Choices
  /** States that the change is made for. */
  madeFor: readonly AdviceState[]
  /** How sentences give the mixture, and bores; without a unit for these as they were noted. */
  unit: MixtureUnit
  boreUnit: BoreUnit | undefined
  /** What flow figures are worth in area. */
  flowRatios: ReadonlyMap<string, AreaPerFlow>
}

/** State in which a circuit's part is judged first. */
const STATE_OF_CIRCUIT: Readonly<Record<string, AdviceState>> = {
  idle: 'idle',
  transfer: 'cruise',
  main: 'cruise',
  power: 'power',
  secondary: 'power',
}
/** Shift of log λ below which a state is not worth a sentence. */
const WORTH_SAYING = 0.006

/** A change with its forecast and its reasons in plain words. */
export function describeChange(input: ChangeInput): Change {
  const { model, part, before, after, step, unit } = input
  const from = before[part]
  const to = after[part]
  const circuit = circuitOfChange(part, from, to)
  const state = stateOf(input, circuit)
  const then = model.forecast(state, after)
  const start = model.forecast(state, before)
  const path = fuelPaths.find((entry) => entry.part === part || entry.rod === part)
  const factor = path ? pathFactor(path, before, after, state) : Number.NaN
  const because: string[] = []
  // A main jet changed for power alone: why comes before how the jet's own state stands.
  const cause = input.madeFor.includes(state) ? undefined : input.madeFor[0]
  if (cause) because.push(...standingOf(input, cause))
  because.push(...standingOf(input, state))
  if (path && Number.isFinite(factor)) because.push(shareSentence(input, path, state, factor))
  const reckoned = reckonedSentence(part, [from, to], input.flowRatios)
  if (reckoned) because.push(reckoned)
  if ((valveParts as readonly string[]).includes(part) && step) {
    because.push(
      `The mixture steps richer by ${(100 * step.stepLog).toFixed(0)} % where vacuum falls below ${step.opens_inHg.toFixed(1)} inHg: that is where the enrichment opens now.`,
    )
  }
  if (then) {
    const word = stateWords[state] ?? state
    because.push(`${sentenceStart(word)} should come to ${rangeWord(then, unit)}.`)
  }
  because.push(...sideEffects(input, state))
  if (input.isSafer) {
    because.push(
      'Of the sizes that would do, this one keeps power on the safe side until the later steps are made.',
    )
  }
  const direction =
    then && start ? (then.mean < start.mean ? 'richer' : 'leaner') : factor > 1 ? 'richer' : 'leaner'
  return {
    circuit,
    part,
    direction,
    from,
    to,
    area_factor: Number.isFinite(factor) ? round(factor, 4) : null,
    expected_lambda: then ? round(Math.exp(then.mean), 4) : null,
    expected_ci95: then
      ? [round(Math.exp(then.mean - 1.96 * then.sd), 4), round(Math.exp(then.mean + 1.96 * then.sd), 4)]
      : null,
    because,
    state,
    expects: expectations(input),
    alternatives: alternatives(input, state),
  }
}

/** How a state stands before the change, in a sentence; none when it was not seen. */
function standingOf(input: ChangeInput, state: AdviceState): string[] {
  const { model, bands, before, unit } = input
  const start = model.forecast(state, before)
  const band = bands.get(state)
  if (!start || !band) return []
  return [
    before === model.base
      ? standingSentence(state, start, band, secondsOf(input.observed, state), unit)
      : plannedSentence(state, start, band, unit),
  ]
}

/** Circuit of a change; a rod that differs at its power step alone is the enrichment's. */
function circuitOfChange(part: string, from: Part, to: Part): Circuit {
  const circuit = circuitOfPart(part) ?? 'main'
  const isRod = from.power_mm !== undefined && to.power_mm !== undefined
  const cruiseStays = from.cruise_mm === to.cruise_mm
  return circuit === 'main' && isRod && cruiseStays ? 'power' : circuit
}

/** The circuit's own state, or where the part moves most if that state was not seen. */
function stateOf({ model, bands, before, after }: ChangeInput, circuit: string): AdviceState {
  const own = STATE_OF_CIRCUIT[circuit] ?? 'cruise'
  if (model.forecast(own, before)) return own
  let best: AdviceState = own
  let most = -1
  for (const state of bands.keys()) {
    const a = model.forecast(state, before)
    const b = model.forecast(state, after)
    const shift = a && b ? Math.abs(b.mean - a.mean) : -1
    if (shift > most) {
      most = shift
      best = state
    }
  }
  return best
}

function shareSentence(input: ChangeInput, path: FuelPath, state: AdviceState, factor: number): string {
  const { model, part, before, after, observed, boreUnit } = input
  const share = model.share(state, path.id)
  const head = `${sentenceStart(partWord(part))} ${sizesWord(before[part], after[part], boreUnit)}: ${areaWord(factor, after[part].turns !== undefined)}`
  if (!share) return `${head}.`
  const swaps = countSwaps(observed, path)
  const learned =
    swaps === 0
      ? 'a first guess, since this part was not changed yet'
      : `learned from ${swaps === 1 ? 'one earlier swap' : `${swaps} earlier swaps`} of this car`
  return `${head}; it answers for about ${shareWord(share)} of the fuel in ${stateWords[state]} (${learned}).`
}

/** Swaps that tell of a path's share: of its part, or of the rod that narrows it. */
function countSwaps(observed: readonly ObservedRun[], { part, rod }: FuelPath): number {
  const names = rod ? [part, rod] : [part]
  let swaps = 0
  for (let i = 1; i < observed.length; i++) {
    const isSwapped = names.some((name) => {
      const a = observed[i - 1].fitted[name]
      const b = observed[i].fitted[name]
      return a && b && !isSamePart(a, b)
    })
    if (isSwapped) swaps++
  }
  return swaps
}

function sideEffects({ model, bands, before, after, unit }: ChangeInput, own: AdviceState): string[] {
  const sentences: string[] = []
  for (const [state, band] of bands) {
    if (state === own) continue
    const a = model.forecast(state, before)
    const b = model.forecast(state, after)
    if (!a || !b || Math.abs(b.mean - a.mean) < WORTH_SAYING) continue
    const [from, to] = [a, b].map(({ mean }) => unit.of(Math.exp(mean)).toFixed(unit.decimals))
    // What rounds to the same figure says nothing.
    if (from === to) continue
    const word = stateWords[state] ?? state
    const side = b.mean > band.high ? ', lean' : b.mean < band.low ? ', rich' : ''
    sentences.push(`${sentenceStart(word)} moves with it, from ${unit.symbol} ${from} to ${to}${side}.`)
  }
  return sentences
}

function expectations({ model, bands, after }: ChangeInput) {
  const expects: Record<string, { lambda: number; ci95: [number, number] }> = {}
  for (const state of bands.keys()) {
    const then = model.forecast(state, after)
    if (!then) continue
    expects[state] = {
      lambda: round(Math.exp(then.mean), 4),
      ci95: [round(Math.exp(then.mean - 1.96 * then.sd), 4), round(Math.exp(then.mean + 1.96 * then.sd), 4)],
    }
  }
  return expects
}

/** The other sizes at hand, best first: "why not another?". */
function alternatives({ model, bands, part, before, after, choices }: ChangeInput, state: AdviceState) {
  const sizes = (choices.get(part) ?? []).filter((size) => size !== after[part] && size !== before[part])
  return sizes
    .map((size) => {
      const set = { ...after, [part]: size }
      const then = model.forecast(state, set)
      return {
        to: size,
        expected_lambda: then ? round(Math.exp(then.mean), 4) : null,
        cost: round(costOf(model, bands, set), 3),
      }
    })
    .sort((a, b) => a.cost - b.cost)
    .slice(0, 4)
}
