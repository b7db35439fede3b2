import type { SteadyPiece } from '../contract/result.ts'

/** Below this the car stands, m/s; as little as a satellite receiver tells of a parked one. Chosen here. */
const STANDS_MS = 0.7
/** So much steady driving in a state speaks for it alone, s. Chosen here. */
const LEAST_DRIVEN_S = 20

/**
 * The pieces without those in which the car stood with its throttle open: an engine held at speed in the garage, or on the step of the fast idle, needs
 * so little air that idle and transfer feed it, and says nothing of the main jet. Only of states that were driven as well: on a rolling road, and
 * without road speed, all pieces stay.
 */
export function drivenPieces(pieces: readonly SteadyPiece[]): SteadyPiece[] {
  const drivenS = new Map<string, number>()
  for (const piece of pieces) {
    if (isDriven(piece)) drivenS.set(piece.state, (drivenS.get(piece.state) ?? 0) + piece.seconds)
  }
  return pieces.filter(
    (piece) =>
      piece.state === 'idle' ||
      !((piece.roadSpeedMs ?? Number.NaN) <= STANDS_MS) ||
      !((drivenS.get(piece.state) ?? 0) >= LEAST_DRIVEN_S),
  )
}

const isDriven = ({ roadSpeedMs }: SteadyPiece) => roadSpeedMs !== undefined && roadSpeedMs > STANDS_MS
