/** A small seeded generator (xorshift32) with the few distributions that the second engine needs. */
export interface Random {
  /** Uniform in [low, high). */
  between(low: number, high: number): number
  /** Normal with mean 0 and deviation 1. */
  normal(): number
  /** True with probability p. */
  chance(p: number): boolean
  pick<T>(items: readonly T[]): T
}

export function createRandom(seed: number): Random {
  let state = (Math.imul(seed + 1, 0x9e3779b1) ^ 0x5bd1e995) >>> 0 || 1
  const next = () => {
    state ^= state << 13
    state >>>= 0
    state ^= state >>> 17
    state ^= state << 5
    state >>>= 0
    return state / 4294967296
  }
  for (let i = 0; i < 8; i++) next()
  return {
    between: (low, high) => low + (high - low) * next(),
    normal: () => Math.sqrt(-2 * Math.log(1 - next())) * Math.cos(2 * Math.PI * next()),
    chance: (p) => next() < p,
    pick: (items) => items[Math.floor(next() * items.length)],
  }
}
