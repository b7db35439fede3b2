import type { MixtureState, SteadyPiece } from '../contract/result.ts'

/** One run of those compared: its pieces and what moves its log λ to reference air. */
export interface LevelInput {
  readonly pieces: readonly SteadyPiece[]
  readonly logShift: number
}

/** A few seconds of steady driving, made ready: log λ at reference air, and where on the map they were. */
export interface LevelRow {
  readonly state: MixtureState
  readonly run: number
  readonly bank: 1 | 2
  timeS: number
  seconds: number
  logLambda: number
  /** NaN when not measured. */
  rpm: number
  load: number
  /** How much further open the enrichment is by vacuum than by load, against a day of 100 kPa, in load; 0 when not measured. */
  vacuumGap: number
  /** How far the coolant is under warm, in 20 °C; 0 when warm or not measured. */
  cold: number
  /** 1 as the throttle has just come to rest, falling with the time it stays: what film and pump leave behind. */
  fresh: number
}

/** Time, s, over which a tip-in's film and shot fade once the throttle rests; it has rested for a second when a piece begins. Common practice, no source. */
const FADE_S = 1.2
const RESTED_S = 1
/** Time, s, in which an engine comes down to idle, and the share of idle that must be left without it. Chosen here. */
const ARRIVAL_S = 2
const LEAST_LATE_SHARE = 0.5
/** Coolant under which λ may still lean on the choke's last bit, °C; only the part below counts. */
const WARM_C = 80
const COLD_STEP_C = 20
/** Neighbouring pieces of a visit are merged to about so many s: closer than that they tell the same. Chosen here. */
const BLOCK_S = 3
/** Most rows of one run, about: more are merged over longer blocks, since the work grows with their cube. */
const MOST_ROWS = 200
/** Blocks longer than this, s, gather several visits to a state. Chosen here. */
const BRIDGE_S = 12
/** A stretch without pieces longer than this, s, is one in which the throttle moved. */
const UNBROKEN_S = 0.5

/** The rows of one run in order of time, all states and banks together; warm-up is left out. */
export function levelRowsOf({ pieces, logShift }: LevelInput, run: number): LevelRow[] {
  const usable = pieces.filter((piece) => piece.state !== 'warm_up' && piece.lambda > 0 && piece.seconds > 0)
  usable.sort((a, b) => a.timeS - b.timeS)
  const settled = withoutArrivals(usable)
  let blockS = BLOCK_S
  let rows = mergeRows(settled, run, logShift, blockS)
  while (rows.length > MOST_ROWS && blockS < 1e4) {
    blockS *= 1.6
    rows = mergeRows(settled, run, logShift, blockS)
  }
  return rows
}

/**
 * Pieces without the moments in which the engine only comes down to idle: the throttle rests, but speed and pressure still fall and the film
 * leaves a rich mixture, which would be taken for what idle does at that pressure. All of them, if idle was hardly ever longer.
 */
function withoutArrivals(pieces: readonly SteadyPiece[]): readonly SteadyPiece[] {
  const beganS = new Map<string, number>()
  const isLate = pieces.map((piece) => {
    if (piece.state !== 'idle') return true
    const key = `${piece.bank}/${piece.visit}`
    const beginS = piece.timeS - piece.seconds / 2
    const visitS = beganS.get(key) ?? beginS
    beganS.set(key, visitS)
    return beginS - visitS >= ARRIVAL_S
  })
  const late = pieces.filter((_, i) => isLate[i])
  const idleS = (of: readonly SteadyPiece[]) =>
    of.reduce((sum, piece) => sum + (piece.state === 'idle' ? piece.seconds : 0), 0)
  return idleS(late) >= LEAST_LATE_SHARE * idleS(pieces) ? late : pieces
}

interface Stretch {
  visit: number
  startS: number
  endS: number
  restS: number
  row: LevelRow | undefined
}

function mergeRows(
  pieces: readonly SteadyPiece[],
  run: number,
  logShift: number,
  blockS: number,
): LevelRow[] {
  const rows: LevelRow[] = []
  const stretches = new Map<string, Stretch>()
  for (const piece of pieces) {
    const key = `${piece.bank}/${piece.state}`
    const beginS = piece.timeS - piece.seconds / 2
    let at = stretches.get(key)
    if (!at || at.visit !== piece.visit || beginS - at.endS > UNBROKEN_S) {
      // A long run's rows bridge breaks within a visit, a very long one's the visits too.
      const keeps = at && blockS > (at.visit === piece.visit ? BLOCK_S : BRIDGE_S)
      const row = keeps ? at?.row : undefined
      at = {
        visit: piece.visit,
        startS: row && at ? at.startS : piece.timeS,
        endS: 0,
        restS: beginS - RESTED_S,
        row,
      }
      stretches.set(key, at)
    }
    at.endS = beginS + piece.seconds
    const one: LevelRow = {
      state: piece.state,
      run,
      bank: piece.bank,
      timeS: piece.timeS,
      seconds: piece.seconds,
      logLambda: Math.log(piece.lambda) + logShift,
      rpm: piece.rpm,
      load: piece.load,
      vacuumGap: vacuumGapOf(piece),
      cold: Number.isFinite(piece.coolantC) ? Math.max(0, WARM_C - piece.coolantC) / COLD_STEP_C : 0,
      fresh: Math.exp(-(piece.timeS - at.restS) / FADE_S),
    }
    if (at.row && piece.timeS - at.startS < blockS) addTo(at.row, one)
    else {
      rows.push(one)
      at.row = one
      at.startS = piece.timeS
    }
  }
  return rows
}

function addTo(row: LevelRow, more: LevelRow): void {
  const whole = row.seconds + more.seconds
  const share = more.seconds / whole
  row.timeS += share * (more.timeS - row.timeS)
  row.logLambda += share * (more.logLambda - row.logLambda)
  row.rpm += share * (more.rpm - row.rpm)
  row.load += share * (more.load - row.load)
  row.vacuumGap += share * (more.vacuumGap - row.vacuumGap)
  row.cold += share * (more.cold - row.cold)
  row.fresh += share * (more.fresh - row.fresh)
  row.seconds = whole
}

/** Barometric pressure of the air to which vacuum and load mean the same, kPa. */
const REFERENCE_KPA = 100

/** A valve opens at a vacuum, so at another barometric pressure it opens at another load: how far apart the two are. */
function vacuumGapOf({ load, manifoldKpa }: SteadyPiece): number {
  const barometerKpa = manifoldKpa / load
  if (!(barometerKpa > 50 && barometerKpa < 120)) return 0
  return 1 - (barometerKpa - manifoldKpa) / REFERENCE_KPA - load
}
