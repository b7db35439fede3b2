import {
  type Box,
  type CarProfile,
  defaultTargets,
  type Fitted,
  isInjection,
  type PartsFile,
  type Targets,
} from '../contract/car.ts'
import type { AnalysisResult, RunAnalysis } from '../contract/result.ts'
import { type MixtureUnit, mixtureUnitOf } from '../units/mixtureUnit.ts'
import { readParts } from './adviceParts.ts'
import { inOrderOfStart } from './evidence.ts'
import { type AreaPerFlow, inOneFigure } from './flowFigures.ts'
import { otherFuelSentence, twoFuels } from './otherFuel.ts'
import { runsOfMetering } from './otherMetering.ts'
import { checkRecords, type RecordCheck } from './recordCheck.ts'
import { lostBankSentence, type ObservedRun, observeRuns } from './runObservations.ts'
import { type BoreUnit, boreUnitOf, profileBoreUnit } from './sizeWords.ts'

export interface AdviseOptions {
  /** The car: targets, home air, circuits, metering. Default: as the newest run carries it. */
  car?: CarProfile
  /** Targets that win over the car's. */
  targets?: Targets
  /** Day-to-day standard deviation as a share of λ; see `CompareOptions`. */
  repeatabilityShare?: number
  /** Standard deviation of the exponent of air density in λ. */
  airExponentSd?: number
  /** Error of the model as a share of the shift it foretells: more makes advice trust its forecasts less. */
  modelShare?: number
  /** Unit in which sentences give the mixture: `lambda`, `afr`, `phi`. Default: as the car's profile says, else λ. Figures of the result stay λ. */
  mixtureUnit?: string
  /** Unit in which sentences give bores: `mm`, `in`, `thou`. Default: as the car's profile says, else as each was noted. Figures of the result stay mm. */
  boreUnit?: string
  /** Hints of the runs whose test the owner did without finding anything, by their codes: `exhaust_leak`. */
  checked?: readonly string[]
}

/** Values used where `AdviseOptions` names none. */
export const defaultAdviseOptions = Object.freeze({
  repeatabilityShare: 0.003,
  airExponentSd: 0.03,
  modelShare: 0.12,
})

/** What advice rests on: the runs in their order as they were observed, the parts at hand, the car, and what is wanted. */
export interface AdviceEvidence {
  /** Those that may be put together, oldest first; the last is today's. */
  readonly observed: readonly ObservedRun[]
  /** Where the records of parts do not fit what was measured. */
  readonly record: Omit<RecordCheck, 'observed'>
  /** What of the earlier runs cannot be laid beside today's, in sentences. */
  readonly leftOut: readonly string[]
  readonly newest: ObservedRun
  readonly today: RunAnalysis
  readonly box: Box
  /** What a flow figure is worth in area, by part. */
  readonly flowRatios: ReadonlyMap<string, AreaPerFlow>
  readonly car: CarProfile | undefined
  readonly targets: Targets
  readonly settings: { repeatabilityShare: number; airExponentSd: number; modelShare: number }
  /** How sentences give the mixture. */
  readonly unit: MixtureUnit
  /** How they give bores; undefined: as each was noted. */
  readonly boreUnit: BoreUnit | undefined
  /** Codes of hints that the owner followed up and found nothing. */
  readonly checked: readonly string[]
}

/** True for a run that is given once more among those after it. */
function isRepeated(run: RunAnalysis, after: readonly RunAnalysis[]): boolean {
  const { lines } = run.result.integrity
  return after.some(
    (other) => other.startMs === run.startMs && lines > 0 && other.result.integrity.lines === lines,
  )
}

/** Reads runs, box and options. Throws `RangeError` without runs, for a box that is none, with the field at fault, and for a `boreUnit` that is none. */
export function gatherEvidence(
  runs: readonly (RunAnalysis | AnalysisResult)[],
  box: Box | PartsFile,
  options: AdviseOptions,
): AdviceEvidence {
  if (!Array.isArray(runs) || runs.length === 0) throw new RangeError('no runs (expected one or more)')
  const parts: { box: Box; fitted?: Fitted } = readParts(box)
  const given = inOrderOfStart(runs)
  const car = options.car ?? given.findLast((run) => run.car)?.car
  const { runs: ordered, said } = runsOfMetering(
    given.filter((run, i) => !isRepeated(run, given.slice(i + 1))),
    car,
  )
  const settings = {
    repeatabilityShare: options.repeatabilityShare ?? defaultAdviseOptions.repeatabilityShare,
    airExponentSd: options.airExponentSd ?? defaultAdviseOptions.airExponentSd,
    modelShare: options.modelShare ?? defaultAdviseOptions.modelShare,
  }
  const unit = mixtureUnitOf(options.mixtureUnit ?? car?.units?.mixture, car?.fuel)
  const asNoted = observeRuns(ordered, car, parts.fitted, settings, parts.box)
  const figures = inOneFigure(
    parts.box,
    asNoted.map(({ fitted }) => fitted),
  )
  const today = ordered[ordered.length - 1]
  const onOtherFuel = new Set(ordered.filter((run) => twoFuels(run, today)))
  // Left out only now: what was fitted passes on to later runs without a record of their own.
  const all = asNoted
    .map((entry, i): ObservedRun => ({ ...entry, fitted: figures.sets[i] }))
    .filter((_, i) => !onOtherFuel.has(ordered[i]))
  const { observed, ...record } = isInjection(car) ? { observed: all } : checkRecords(all, settings, unit)
  return {
    observed,
    record,
    leftOut: [
      ...said,
      otherFuelSentence([...onOtherFuel], today),
      lostBankSentence(ordered, car?.sensor?.bank_names),
    ].filter((text) => text !== undefined),
    newest: observed[observed.length - 1],
    today,
    box: figures.box,
    flowRatios: figures.ratios,
    car,
    targets: { ...defaultTargets, ...car?.targets, ...options.targets },
    settings,
    unit,
    boreUnit: boreUnitOf(options.boreUnit) ?? profileBoreUnit(car),
    checked: options.checked ?? [],
  }
}
