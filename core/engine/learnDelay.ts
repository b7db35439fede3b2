import type { ConditionedRun } from './conditionedRun.ts'
import { findDelayWindows, thinWindows } from './delayEvents.ts'
import { type DelayLaw, type FlowModel, priorDelayLaw } from './delayLaw.ts'
import {
  createSearch,
  type LearnDelayOptions,
  PRIOR_LAG_S,
  prepareSearch,
  prepareWindows,
  type Search,
  type SearchedWindows,
} from './delaySearch.ts'
import { dropUnread, pointsOf } from './readWindows.ts'
import { guessedLoad } from './throttleLoad.ts'

/** The delay law of a run, and what it rests on. */
export interface LearnedDelay extends DelayLaw {
  readonly eventsUsed: number
  /** Part of `aS` that is the sensor's own first-order lag, s. */
  readonly sensorLagS: number
}

const LAGS_S = [0.03, 0.05, 0.1, 0.14]
/** Directions of the climb: of the constant part, and of b as a power of its step. */
type Step = readonly [number, number]
const STEPS: readonly Step[] = [
  [1, 0],
  [-1, 0],
  [0, 1],
  [0, -1],
  [1, -1],
  [-1, 1],
]
/** The constant part may fall a little below the sensor's lag, s: the prior draws it back. */
const LEAST_PURE_S = -0.02
/** Points on which the way is found; the last steps are taken on all. */
const ROUGH_POINTS = 2500
/**
 * When the fuel stops in an overrun is the engine's own affair. The law that holds it to stop at once, and so rests on more, is taken where the rest of
 * the driving is explained by it nearly as well as by its own best law: so much log likelihood may be lost. Chosen here.
 */
const MOST_DISAGREEMENT = 2
/** Physics of a pipe speaks for `plug`: another model of it must explain so much more. Chosen here. */
const PLUG_LOG_ODDS = 0.3

/**
 * Learns delay = a + b / (rpm × kPa) from a run's own moves of throttle and load: the law under which λ is best explained by what the engine did,
 * through a general model whose weights are found anew for each candidate law, with a prior. Time is linear in the run, bounded in its events.
 */
export function learnDelay(run: ConditionedRun, options: LearnDelayOptions): LearnedDelay {
  const before = options.earlier ?? priorDelayLaw
  const load = loadOf(run, options)
  const windows = dropUnread(run, findDelayWindows(run, load))
  const searched = prepareSearch(run, load, options.barometerKpa)
  const allPoints = pointsOf(windows)
  const full = prepareWindows(searched, windows, options)
  const thin = prepareWindows(searched, thinWindows(windows, ROUGH_POINTS), options)
  const find = (trustsOverrun: boolean) => {
    const search = (some: SearchedWindows | undefined) =>
      some && createSearch(searched, some, allPoints, options, before, { trustsOverrun })
    const fine = search(full)
    return fine && findLaw(fine, search(thin) ?? fine, before)
  }
  const careful = find(false)
  const trusting = careful?.leavesOut === false ? undefined : find(true)
  const best = chooseLaw(careful, trusting)
  if (!best) return { ...before, eventsUsed: 0, sensorLagS: Math.min(PRIOR_LAG_S, before.aS / 2) }
  return {
    aS: best.pureS + best.lagS,
    bSRpmKpa: best.b,
    flow: best.flow,
    eventsUsed: windows.events,
    sensorLagS: best.lagS,
  }
}

/** The law that trusts the overrun where the rest of the run agrees with it, or where nothing else was driven. */
function chooseLaw(careful: Found | undefined, trusting: Found | undefined): Candidate | undefined {
  if (!careful || !trusting) return (careful ?? trusting)?.law
  const lost = careful.law.score - careful.scoreOf(trusting.law)
  return lost < MOST_DISAGREEMENT ? trusting.law : careful.law
}

/** A law with the search it is best in. */
interface Found {
  readonly law: Candidate
  readonly leavesOut: boolean
  /** How well the same search explains the run by another law. */
  scoreOf(other: Candidate): number
}

/** The best law of a search, found on a part of the windows first. */
function findLaw(full: Search, rough: Search, before: DelayLaw): Found {
  const first = climb(rough, 'plug', PRIOR_LAG_S, coarse(rough, 'plug', before))
  rough.weighBy('plug', first.pureS, first.b)
  let best = climb(rough, 'plug', PRIOR_LAG_S, first)
  for (const flow of ['cause', 'arrival'] as const) {
    const tried = climb(rough, flow, PRIOR_LAG_S, best)
    if (tried.score > best.score + (best.flow === 'plug' ? PLUG_LOG_ODDS : 0)) best = tried
  }
  for (const lagS of LAGS_S) {
    rough.setLag(lagS)
    const tried = climb(rough, best.flow, lagS, {
      pureS: Math.max(0, best.pureS + best.lagS - lagS),
      b: best.b,
    })
    if (tried.score > best.score) best = tried
  }
  full.setLag(best.lagS)
  if (full !== rough) full.weighBy(best.flow, best.pureS, best.b)
  const law = rough === full ? best : climb(full, best.flow, best.lagS, best)
  return {
    law,
    leavesOut: full.leavesOut,
    scoreOf({ flow, pureS, b, lagS }) {
      full.setLag(lagS)
      return full.score(flow, pureS, b)
    },
  }
}

interface Candidate {
  readonly score: number
  readonly pureS: number
  readonly b: number
  readonly lagS: number
  readonly flow: FlowModel
}

type Start = Pick<Candidate, 'pureS' | 'b'>

/** Best of a wide grid around what is known beforehand. */
function coarse(search: Search, flow: FlowModel, before: DelayLaw): Start {
  let best: Start = { pureS: 0.03, b: before.bSRpmKpa }
  let score = Number.NEGATIVE_INFINITY
  for (const factor of [0.45, 0.65, 1, 1.5, 2.2]) {
    for (const pureS of [0, 0.03, 0.07]) {
      const b = before.bSRpmKpa * factor
      const found = search.score(flow, pureS, b)
      if (!(found > score)) continue
      score = found
      best = { pureS, b }
    }
  }
  return best
}

/** Best law for one lag and one model of the pipe, by steps that shrink. */
function climb(search: Search, flow: FlowModel, lagS: number, start: Start): Candidate {
  let { pureS, b } = start
  let score = search.score(flow, pureS, b)
  let stepB = 1.25
  let stepS = 0.02
  // The step that led here; places beside it were tried from where it began, and were no better.
  let came: Step | undefined
  for (let round = 0; round < 12 && stepS > 0.0015; round++) {
    const fromS = pureS
    const fromB = b
    let taken: Step | undefined
    for (const step of STEPS) {
      if (came && wasTried(came, step)) continue
      const [side, power] = step
      const triedS = Math.max(LEAST_PURE_S, fromS + side * stepS)
      const triedB = fromB * stepB ** power
      const found = search.score(flow, triedS, triedB)
      if (!(found > score)) continue
      score = found
      pureS = triedS
      b = triedB
      taken = step
    }
    // At the edge a step is cut short, and what lies beside it is new.
    came = pureS > LEAST_PURE_S ? taken : undefined
    if (taken) continue
    stepB = 1 + (stepB - 1) / 2
    stepS /= 2
  }
  return { score, pureS, b, lagS, flow }
}

/** True when `step` after `came` ends at a place that is itself one step, or none, from where `came` began. */
function wasTried(came: Step, step: Step): boolean {
  const side = came[0] + step[0]
  const power = came[1] + step[1]
  return (side === 0 && power === 0) || STEPS.some((one) => one[0] === side && one[1] === power)
}

function loadOf(run: ConditionedRun, options: LearnDelayOptions): Float64Array {
  const load = new Float64Array(run.count)
  for (let i = 0; i < run.count; i++) {
    const kpa = run.mapKpa[i]
    const throttle = run.throttlePct[i] - options.throttleRestPct
    load[i] = !Number.isNaN(kpa)
      ? kpa / options.barometerKpa
      : throttle >= -5
        ? guessedLoad(run.rpm[i], throttle, options.throttleNeed, options.warmIdleRpm)
        : Number.NaN
  }
  return load
}
