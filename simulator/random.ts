/** A seeded source of numbers: same seed and same stream name, same sequence, on every machine. */
export interface Random {
  /** Uniform in [0, 1). */
  uniform(): number
  /** Unit normal; bounded to about ±3.5 since it is drawn from a table. */
  normal(): number
  /** Uniform in [low, high). */
  between(low: number, high: number): number
  /** Whole number in [low, high], both included. */
  integer(low: number, high: number): number
  /** One of the entries. */
  pick<T>(entries: readonly T[]): T
}

const quantileCount = 2048
const normalQuantiles = makeNormalQuantiles(quantileCount)

/** Quantiles of the unit normal at (i + 0.5) / n, by marching dx/dp = 1/density out of the middle. */
function makeNormalQuantiles(count: number): Float64Array {
  const out = new Float64Array(count)
  const stepsPerCell = 16
  const stepP = 1 / count / stepsPerCell
  const slope = (x: number) => Math.sqrt(2 * Math.PI) * Math.exp((x * x) / 2)
  let x = 0
  const half = count / 2
  for (let cell = 0; cell < half; cell++) {
    for (let step = 0; step < stepsPerCell; step++) {
      if (step === stepsPerCell / 2) {
        out[half + cell] = x
        out[half - 1 - cell] = -x
      }
      const k1 = slope(x)
      const k2 = slope(x + (stepP / 2) * k1)
      x += stepP * k2
      // The last cell's outer half runs to infinity and is not needed.
      if (cell === half - 1 && step >= stepsPerCell / 2) break
    }
  }
  return out
}

function hashText(text: string, seed: number): number {
  let hash = (0x811c9dc5 ^ seed) >>> 0
  for (let i = 0; i < text.length; i++) {
    hash = Math.imul(hash ^ text.charCodeAt(i), 0x01000193) >>> 0
  }
  return hash
}

/** Spreads the bits of a 32 bit state (a splitmix step). */
function splitMix(state: number): number {
  let z = (state + 0x9e3779b9) >>> 0
  z = Math.imul(z ^ (z >>> 16), 0x21f0aaad)
  z = Math.imul(z ^ (z >>> 15), 0x735a2d97)
  return (z ^ (z >>> 15)) >>> 0
}

class TableRandom implements Random {
  private a: number
  private b: number
  private c: number
  private d: number

  constructor(seed: number, stream: string) {
    const start = hashText(stream, seed >>> 0)
    this.a = splitMix(start)
    this.b = splitMix(this.a ^ seed)
    this.c = splitMix(this.b)
    this.d = splitMix(this.c) | 1
    for (let i = 0; i < 8; i++) this.next()
  }

  /** xorshift with 128 bits of state (Marsaglia 2003). */
  private next(): number {
    let t = this.d
    const s = this.a
    this.d = this.c
    this.c = this.b
    this.b = s
    t ^= t << 11
    t ^= t >>> 8
    this.a = t ^ s ^ (s >>> 19)
    return this.a >>> 0
  }

  uniform(): number {
    return this.next() / 4294967296
  }

  normal(): number {
    return normalQuantiles[this.next() >>> 21]
  }

  between(low: number, high: number): number {
    return low + (high - low) * this.uniform()
  }

  integer(low: number, high: number): number {
    return low + Math.floor(this.uniform() * (high - low + 1))
  }

  pick<T>(entries: readonly T[]): T {
    return entries[Math.floor(this.uniform() * entries.length)]
  }
}

/** A seeded stream of numbers; streams of different names are independent, so that more noise does not alter the drive. */
export function createRandom(seed: number, stream: string): Random {
  return new TableRandom(seed, stream)
}
