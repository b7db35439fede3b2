import {
  type CarProfile,
  type Circuit,
  defaultTargets,
  isInjection,
  type Target,
  type Targets,
} from '../contract/car.ts'
import type { AnalysisResult, RunAnalysis, SteadyPiece } from '../contract/result.ts'
import { medianOf } from '../numeric/average.ts'
import { bandsOf } from './adviceBands.ts'
import { banksOf, onlyBanks } from './bankLevels.ts'
import { verdictsOfBanks } from './bankVerdicts.ts'
import type { CircuitVerdict } from './circuitVerdict.ts'
import { enrichedShare, findEnrichmentStep } from './enrichmentStep.ts'
import { asRunAnalysis } from './evidence.ts'
import { tellsLoad } from './loadTold.ts'
import { chokeRow, pumpRow } from './otherCircuits.ts'
import { openingOf, valveOf } from './partPaths.ts'
import { fittedOfRun, tellsSpeed } from './runObservations.ts'
import { isInTurn, rowOf, type Standing, standingOf, type VerdictOptions } from './stateStanding.ts'
import { surePieces } from './surePieces.ts'

/** Throttle above rest, %, and load under which the transfer slots feed. Common practice, no source. */
const TRANSFER_THROTTLE_PCT = 5
const TRANSFER_LOAD = 0.5
/** Seconds of power with the secondaries shut, and open, from which the two are told apart. Chosen here. */
const TELLING_S = 8
/** Throttle from which the secondaries are taken to be open. Common practice, no source. */
const SECONDARY_THROTTLE_PCT = 65

/**
 * Verdict per circuit of one run, at the car's home air, with 95 % intervals that allow for correlation, drift between visits and
 * day-to-day repeatability. Circuits that the car does not have are left out.
 */
export function circuitVerdicts(
  analysis: RunAnalysis | AnalysisResult,
  options: VerdictOptions = {},
): CircuitVerdict[] {
  const whole = asRunAnalysis(analysis)
  const car = options.car ?? whole.car
  const run = { ...whole, pieces: surePieces(whole, car) }
  const targets = { ...defaultTargets, ...car?.targets, ...options.targets }
  const has = circuitsOf(run, car)
  const steadyRows = (only: RunAnalysis) => stateRows(only, has, targets, car, options)
  const rows =
    banksOf(run.pieces).size < 2
      ? steadyRows(run)
      : verdictsOfBanks(
          steadyRows(run),
          steadyRows(onlyBanks(run, new Set([1]))),
          steadyRows(onlyBanks(run, new Set([2]))),
          car?.sensor?.bank_names,
        )
  if (has.has('pump')) rows.push(pumpRow(whole, car, rows))
  const choke = chokeRow(run, car)
  if (has.has('choke') && choke) rows.push(choke)
  if (!tellsSpeed(run)) return rows.map(withoutSpeed)
  return tellsLoad(run) ? rows : rows.map(withoutLoad)
}

/** Rows of the circuits that steady driving tells. */
function stateRows(
  run: RunAnalysis,
  has: ReadonlySet<Circuit>,
  targets: Required<Targets>,
  car: CarProfile | undefined,
  options: VerdictOptions,
): CircuitVerdict[] {
  const rows: CircuitVerdict[] = []
  const standing = (pieces: readonly SteadyPiece[], target: Target, idle?: readonly SteadyPiece[]) =>
    standingOf(run, pieces, target, car, options, idle)
  const inState = (state: string) => run.pieces.filter((piece) => piece.state === state)

  if (has.has('idle')) {
    rows.push(
      rowOf(
        'idle',
        'Idle',
        isInjection(car) ? 'throttle closed' : 'idle mixture screws',
        'idle',
        standing(inState('idle'), targets.idle),
      ),
    )
  }
  if (has.has('transfer')) {
    const row = standing(transferPieces(run.pieces), targets.cruise)
    if (row.seconds > 0) rows.push(rowOf('transfer', 'Transfer', 'throttle just open', 'transfer', row))
  }
  if (has.has('main')) {
    const part = inState('part_throttle')
    const row = mainRow(
      standing(inState('cruise'), targets.cruise, inState('idle')),
      standing(part, partTarget(run, targets.part_throttle, targets)),
    )
    // The mean of what comes before an enrichment and after it may be right where neither is.
    if (row.verdict === 'on_target' && isInTurn(run, part, targets.part_throttle, car))
      row.detail = 'part throttle lean and rich in turn'
    rows.push(row)
  }
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
  return rows
}

/** Without engine speed no driving tells one circuit from another. */
function withoutSpeed(row: CircuitVerdict): CircuitVerdict {
  return row.verdict === 'not_enough_data' ? { ...row, missing: 'needs engine speed', lacksLoad: true } : row
}

/** No driving helps a circuit that rules at a load which the board does not tell. */
function withoutLoad(row: CircuitVerdict): CircuitVerdict {
  const isOpen = row.verdict === 'not_enough_data' && row.circuit !== 'idle' && row.circuit !== 'choke'
  return isOpen ? { ...row, missing: 'needs throttle or manifold pressure', lacksLoad: true } : row
}

/** Circuits of the car: its profile's, else those whose parts are fitted, else all but the secondary. */
function circuitsOf(run: RunAnalysis, car: CarProfile | undefined): Set<Circuit> {
  if (car?.circuits) return new Set(car.circuits)
  // Of an injection the pump is its acceleration enrichment, the choke its cold enrichment.
  if (isInjection(car)) return new Set(['idle', 'main', 'power', 'pump', 'choke'])
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
  const rest = medianOf(idle.map((piece) => piece.throttlePct))
  return pieces.filter(
    (piece) =>
      piece.state === 'cruise' &&
      piece.throttlePct < rest + TRANSFER_THROTTLE_PCT &&
      piece.load < TRANSFER_LOAD,
  )
}

/** As the advice takes it: where the enrichment opens within part throttle, that share is meant to run as rich as power. */
function partTarget(run: RunAnalysis, target: Target, targets: Targets): Target {
  const { pieces, result } = run
  const step = findEnrichmentStep(pieces, valveOf(fittedOfRun(run) ?? {}) !== undefined)
  const isByThrottle = result.map.load_channel === 'throttle'
  if (!step && !isByThrottle) return target
  const enriched = step ? enrichedShare(pieces, 'part_throttle', step) : 0
  const { low, high } = bandsOf(targets, enriched, isByThrottle).get('part_throttle')!
  return {
    ...target,
    rich: target.lambda - Math.exp(low),
    lean: isByThrottle ? Math.exp(high) - target.lambda : target.lean,
  }
}

function secondsIn(pieces: readonly SteadyPiece[]): number {
  return pieces.reduce((sum, piece) => sum + piece.seconds, 0)
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
