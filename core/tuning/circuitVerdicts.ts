import { type CarProfile, type Circuit, defaultTargets, type Target, type Targets } from '../contract/car.ts'
import type { AnalysisResult, RunAnalysis, SteadyPiece } from '../contract/result.ts'
import { defaultCompareOptions } from './compareRuns.ts'
import { studentQuantile } from './distributions.ts'
import { findEnrichmentStep, vacuumOf } from './enrichmentStep.ts'
import { asRunAnalysis } from './evidence.ts'
import { openingOf } from './partPaths.ts'
import { judgePump, type PumpVerdict, patternWords } from './pumpAdvice.ts'
import { airExponentOf, airLogShift, densityOfAirKgM3, findRunAir, referenceAirOf } from './referenceAir.ts'
import { fittedOfRun } from './runObservations.ts'
import { findStateLevels } from './stateLevels.ts'

/** How one circuit stands in one run; the rows of the run page and of the report. */
export interface CircuitVerdict {
  circuit: Circuit
  name: string
  /** What feeds it or when it rules, in a few words. */
  detail: string
  verdict: 'on_target' | 'rich' | 'lean' | 'not_enough_data'
  /** `on target`, `rich 0.08`, `lean at once`: what is shown. */
  words: string
  /** λ minus target at home air, NaN when unknown; half width of its 95 % interval. */
  error: number
  half95: number
  target: number
  /** Allowed distances, positive. */
  bandRich: number
  bandLean: number
  seconds: number
  /** For the pump and the choke: what was counted, e.g. `9 of 11`. */
  counted?: string
  /** What to drive when data do not suffice. */
  missing?: string
}

export interface VerdictOptions {
  car?: CarProfile
  targets?: Targets
  repeatabilityShare?: number
}

/** Steady seconds wanted in each state before its circuit is judged. */
const WANTED_S: Readonly<Record<string, number>> = {
  idle: 20,
  transfer: 10,
  cruise: 30,
  part_throttle: 15,
  power: 6,
  secondary: 4,
}
/** Throttle above rest, %, and load under which the transfer slots feed. Common practice, no source. */
const TRANSFER_THROTTLE_PCT = 5
const TRANSFER_LOAD = 0.5
/** Seconds of power with the secondaries shut, and open, from which the two are told apart. Chosen here. */
const TELLING_S = 8
/** Throttle from which the secondaries are taken to be open. Common practice, no source. */
const SECONDARY_THROTTLE_PCT = 65

interface Standing {
  error: number
  half95: number
  seconds: number
  target: Target
  lambda: number
}

/**
 * Verdict per circuit of one run, at the car's home air, with 95 % intervals that allow for correlation, drift between visits and
 * day-to-day repeatability. Circuits that the car does not have are left out.
 */
export function circuitVerdicts(
  analysis: RunAnalysis | AnalysisResult,
  options: VerdictOptions = {},
): CircuitVerdict[] {
  const run = asRunAnalysis(analysis)
  const car = options.car ?? run.car
  const targets = { ...defaultTargets, ...car?.targets, ...options.targets }
  const has = circuitsOf(run, car)
  const rows: CircuitVerdict[] = []
  const standing = (pieces: readonly SteadyPiece[], target: Target) =>
    standingOf(run, pieces, target, car, options)
  const inState = (state: string) => run.pieces.filter((piece) => piece.state === state)

  if (has.has('idle')) {
    rows.push(rowOf('idle', 'Idle', 'idle mixture screws', 'idle', standing(inState('idle'), targets.idle)))
  }
  if (has.has('transfer')) {
    const row = standing(transferPieces(run.pieces), targets.cruise)
    if (row.seconds > 0) rows.push(rowOf('transfer', 'Transfer', 'throttle just open', 'transfer', row))
  }
  if (has.has('main'))
    rows.push(
      mainRow(
        standing(inState('cruise'), targets.cruise),
        standing(unenriched(inState('part_throttle'), run.pieces), targets.part_throttle),
      ),
    )
  const power = inState('power')
  const open = has.has('secondary')
    ? power.filter((piece) => piece.throttlePct >= SECONDARY_THROTTLE_PCT)
    : []
  const closed = power.filter((piece) => !open.includes(piece))
  // With the secondaries always open in power, their fuel cannot be told from the rest.
  const canTell = secondsIn(open) >= TELLING_S && secondsIn(closed) >= TELLING_S
  if (has.has('power')) {
    const detail = has.has('secondary') && !canTell ? 'power and secondary together' : 'full throttle'
    rows.push(rowOf('power', 'Power', detail, 'power', standing(canTell ? closed : power, targets.power)))
  }
  if (canTell) {
    rows.push(rowOf('secondary', 'Secondary', 'all barrels open', 'secondary', standing(open, targets.power)))
  }
  if (has.has('pump')) rows.push(pumpRow(run, rows))
  const choke = chokeRow(run)
  if (has.has('choke') && choke) rows.push(choke)
  return rows
}

/** Circuits of the car: its profile's, else those whose parts are fitted, else all but the secondary. */
function circuitsOf(run: RunAnalysis, car: CarProfile | undefined): Set<Circuit> {
  if (car?.circuits) return new Set(car.circuits)
  const has = new Set<Circuit>(['idle', 'transfer', 'main', 'power', 'pump', 'choke'])
  const fitted = fittedOfRun(run)
  if (fitted && Object.keys(fitted).some((part) => part.startsWith('secondary'))) has.add('secondary')
  if (fitted && !(openingOf(fitted.secondary_jet, 'power') > 0) && (car?.barrels ?? 0) >= 4)
    has.add('secondary')
  return has
}

function transferPieces(pieces: readonly SteadyPiece[]): SteadyPiece[] {
  const idle = pieces.filter((piece) => piece.state === 'idle' && Number.isFinite(piece.throttlePct))
  if (idle.length === 0) return []
  const throttles = idle.map((piece) => piece.throttlePct).sort((a, b) => a - b)
  const rest = throttles[throttles.length >> 1]
  return pieces.filter(
    (piece) =>
      piece.state === 'cruise' &&
      piece.throttlePct < rest + TRANSFER_THROTTLE_PCT &&
      piece.load < TRANSFER_LOAD,
  )
}

function standingOf(
  run: RunAnalysis,
  pieces: readonly SteadyPiece[],
  target: Target,
  car: CarProfile | undefined,
  options: VerdictOptions,
): Standing {
  const none = { error: Number.NaN, half95: Number.NaN, seconds: 0, target, lambda: Number.NaN }
  if (pieces.length === 0) return none
  const air = findRunAir(run)
  const logShift = airLogShift(air.densityKgM3, densityOfAirKgM3(referenceAirOf(car)), airExponentOf(car))
  const level = findStateLevels([{ pieces, logShift }])?.levels[0]
  if (!level) return none
  const day = options.repeatabilityShare ?? defaultCompareOptions.repeatabilityShare
  const lambda = Math.exp(level.logLambda[0])
  return {
    error: lambda - target.lambda,
    half95: lambda * Math.hypot(studentQuantile(0.975, level.freedom[0]) * level.se[0], 1.96 * day),
    seconds: level.seconds[0],
    target,
    lambda,
  }
}

function rowOf(
  circuit: Circuit,
  name: string,
  detail: string,
  wanted: string,
  standing: Standing,
): CircuitVerdict {
  const { error, half95, seconds, target } = standing
  const half = (target.rich + target.lean) / 2
  const isOutside = error > target.lean || error < -target.rich
  const surelyOutside = error - half95 > target.lean || error + half95 < -target.rich
  const wantedS = WANTED_S[wanted] ?? 20
  const enough = seconds >= Math.min(5, wantedS) && (surelyOutside || half95 < 1.2 * half)
  const verdict = !enough ? 'not_enough_data' : !isOutside ? 'on_target' : error > 0 ? 'lean' : 'rich'
  const row: CircuitVerdict = {
    circuit,
    name,
    detail,
    verdict,
    words:
      verdict === 'not_enough_data'
        ? 'not enough data'
        : verdict === 'on_target'
          ? 'on target'
          : `${verdict} ${Math.abs(error).toFixed(2)}`,
    error,
    half95,
    target: target.lambda,
    bandRich: target.rich,
    bandLean: target.lean,
    seconds,
  }
  if (verdict === 'not_enough_data') {
    row.missing = `${Math.max(5, Math.ceil(wantedS - seconds))} s more of ${detail}`
  }
  return row
}

/** Steady seconds of part throttle above the enrichment's opening that are enough to judge the main circuit alone. Chosen here. */
const MAIN_ALONE_S = 10

/** Part throttle without what the enrichment feeds already, if a step shows where it opens and enough is left. */
function unenriched(part: SteadyPiece[], all: readonly SteadyPiece[]): SteadyPiece[] {
  const step = findEnrichmentStep(all)
  if (!step) return part
  const alone = part.filter((piece) => !(vacuumOf(piece) < step.opens_inHg))
  return secondsIn(alone) >= MAIN_ALONE_S ? alone : part
}

/** Main feeds cruise and part throttle: the one further out of its band speaks for it. */
function mainRow(cruise: Standing, part: Standing): CircuitVerdict {
  const reach = ({ error, target }: Standing) =>
    Number.isNaN(error) ? -1 : Math.max(error / target.lean, -error / target.rich)
  const outside = Math.max(reach(cruise), reach(part)) > 1
  const worse = outside ? (reach(part) > reach(cruise) ? part : cruise) : cruise.seconds > 0 ? cruise : part
  const row = rowOf(
    'main',
    'Main',
    'cruise, part throttle',
    worse === part ? 'part_throttle' : 'cruise',
    worse,
  )
  row.seconds = cruise.seconds + part.seconds
  if (outside && cruise.seconds > 0 && part.seconds > 0) {
    row.detail = worse === part ? 'worse in part throttle' : 'worse in cruise'
  }
  return row
}

/** Words for a pump that waits for the other circuits. */
const JUDGED_LAST = 'judged last'

/** Distance from target of main or power that carries a tip-in's peak with it, λ: half of what counts as a peak. */
const CARRYING_ERROR = 0.05

function secondsIn(pieces: readonly SteadyPiece[]): number {
  return pieces.reduce((sum, piece) => sum + piece.seconds, 0)
}

function pumpRow(run: RunAnalysis, others: readonly CircuitVerdict[]): CircuitVerdict {
  const pump = judgePump([run])
  const carrier = others.find(
    (row) => row.verdict === pump.verdict && Math.abs(row.error) > CARRYING_ERROR && row.circuit !== 'idle',
  )
  if (carrier) return { ...pumpRowOf(pump), ...waiting(pump, carrier) }
  return pumpRowOf(pump)
}

/** The others move the pump's baseline: while one of them is off to the same side, the pump is not judged. */
function waiting(pump: PumpVerdict, carrier: CircuitVerdict): Partial<CircuitVerdict> {
  return {
    verdict: 'not_enough_data',
    words: JUDGED_LAST,
    error: Number.NaN,
    counted: `${pump.count} of ${pump.tipIns}`,
    missing: `${carrier.name.toLowerCase()} is ${carrier.verdict} and takes it along`,
  }
}

function pumpRowOf(pump: PumpVerdict): CircuitVerdict {
  const isOff = pump.verdict === 'lean' || pump.verdict === 'rich'
  const row: CircuitVerdict = {
    circuit: 'pump',
    name: 'Pump',
    detail: `${pump.tipIns} tip-in${pump.tipIns === 1 ? '' : 's'}`,
    verdict: pump.verdict,
    words:
      isOff && pump.pattern
        ? patternWords[pump.pattern]
        : pump.verdict === 'on_target'
          ? 'on target'
          : 'not enough data',
    error:
      isOff && pump.peak !== null ? (pump.verdict === 'rich' ? -1 : 1) * Math.abs(pump.peak) : Number.NaN,
    half95: Number.NaN,
    target: Number.NaN,
    // Tip-ins are judged against these peaks over and under target. Common practice, no source.
    bandRich: 0.12,
    bandLean: 0.1,
    seconds: 0,
    counted: isOff ? `${pump.count} of ${pump.tipIns}` : `${pump.tipIns}`,
  }
  if (pump.verdict === 'not_enough_data') row.missing = `${Math.max(1, 10 - pump.tipIns)} more tip-ins`
  return row
}

function chokeRow(run: RunAnalysis): CircuitVerdict | undefined {
  const warmUp = run.result.warm_up
  if (!warmUp || warmUp.choke === 'unknown') return undefined
  const words = { early: 'off too early', late: 'off too late', fine: 'on target' }[warmUp.choke]
  return {
    circuit: 'choke',
    name: 'Choke',
    detail:
      warmUp.self_idle_coolant_C === null
        ? 'cold start'
        : `idles by itself from ${Math.round(warmUp.self_idle_coolant_C)} °C`,
    verdict: warmUp.choke === 'fine' ? 'on_target' : warmUp.choke === 'early' ? 'lean' : 'rich',
    words,
    error: Number.NaN,
    half95: Number.NaN,
    target: Number.NaN,
    bandRich: 0.08,
    bandLean: 0.08,
    seconds: 0,
    counted: warmUp.self_idle_s === null ? '' : `${Math.round(warmUp.self_idle_s)} s`,
  }
}

const COUNT_WORDS = ['No', 'One', 'Two', 'Three', 'Four', 'Five', 'Six', 'Seven']

/** The answer of a run in one sentence: `Two circuits are off; the others are where they belong`. */
export function verdictHeadline(from: RunAnalysis | AnalysisResult | readonly CircuitVerdict[]): string {
  const rows = Array.isArray(from)
    ? (from as readonly CircuitVerdict[])
    : circuitVerdicts(from as RunAnalysis | AnalysisResult)
  const off = rows.filter((row) => row.verdict === 'rich' || row.verdict === 'lean')
  const open = rows.filter((row) => row.verdict === 'not_enough_data' && row.words !== JUDGED_LAST)
  const fine = rows.filter((row) => row.verdict === 'on_target').length
  if (off.length === 0 && fine === 0) return 'Not enough steady driving to judge any circuit'
  const rest =
    open.length === 0
      ? off.length === rows.length
        ? ''
        : '; the others are where they belong'
      : fine === 0
        ? '; the others need more driving'
        : `; ${COUNT_WORDS[open.length].toLowerCase()} need${open.length === 1 ? 's' : ''} more driving`
  if (off.length === 0) {
    return open.length === 0
      ? 'Every circuit is where it belongs'
      : `What was driven is where it belongs${rest}`
  }
  if (off.length === rows.length && rows.length > 1) return 'Every circuit is off'
  return `${COUNT_WORDS[off.length]} circuit${off.length === 1 ? ' is' : 's are'} off${rest}`
}
