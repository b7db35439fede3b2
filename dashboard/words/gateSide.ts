/** Which side of the gate a distance lies on: the word that goes with the picture. */
export type GateSide = 'rich' | 'on target' | 'lean' | 'none'

/**
 * Side of the allowed band. With a `resolution` the distance is compared as it is read (0.01 beside a number of two decimals), so that word,
 * number and block agree. NaN anywhere gives `none`.
 */
export function gateSide(error: number, bandRich: number, bandLean: number, resolution = 0): GateSide {
  if (Number.isNaN(error + bandRich + bandLean)) return 'none'
  const read = resolution > 0 ? Math.round(error / resolution) * resolution : error
  if (read < -bandRich - 1e-9) return 'rich'
  if (read > bandLean + 1e-9) return 'lean'
  return 'on target'
}
