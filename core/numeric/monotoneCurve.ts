/** Number columns that the fast forms read and write. */
export type NumberColumn = Float32Array | Float64Array

/** A prepared piecewise cubic through given points: smooth, and monotone wherever the points are. */
export interface MonotoneCurve {
  /** Knots, strictly rising. */
  readonly x: Float64Array
  /** Values at the knots, strictly rising or strictly falling. */
  readonly y: Float64Array
  /** Slope dy/dx at the knots. */
  readonly slope: Float64Array
  /** Second- and third-order coefficients of each segment in (x − x[segment]). */
  readonly c2: Float64Array
  readonly c3: Float64Array
  /** Segment in which each of the equal parts of the range begins: finds a segment without a search. */
  readonly firstSegment: Uint32Array
  readonly partsPerX: number
}

// Chosen here: parts for each segment; more makes the look-up walk fewer segments and costs 2 bytes each.
const PARTS_PER_SEGMENT = 16
const MOST_PARTS = 8192

/**
 * Prepares a monotone piecewise cubic through (x, y): knots are met exactly, the first derivative is continuous and
 * no segment overshoots. Slopes: weighted harmonic mean inside (F. N. Fritsch, J. Butland, SIAM J. Sci. Stat. Comput.
 * 5, 1984), one-sided three-point formula limited for monotony at the ends (F. N. Fritsch, R. E. Carlson, SIAM J.
 * Numer. Anal. 17, 1980).
 *
 * Throws `RangeError` for fewer than two points, unequal lengths, NaN, x not strictly rising or y not strictly monotone.
 */
export function createMonotoneCurve(x: ArrayLike<number>, y: ArrayLike<number>): MonotoneCurve {
  const count = x.length
  if (count < 2 || y.length !== count) {
    throw new RangeError(`invalid points: ${count} x and ${y.length} y (expected the same count, 2 or more)`)
  }
  const sign = y[1] > y[0] ? 1 : -1
  for (let i = 0; i < count; i++) {
    if (!Number.isFinite(x[i]) || !Number.isFinite(y[i])) {
      throw new RangeError(`invalid point ${i}: ${x[i]}, ${y[i]} (expected finite numbers)`)
    }
    if (i > 0 && !(x[i] > x[i - 1])) {
      throw new RangeError(`invalid point ${i}: ${x[i]} after ${x[i - 1]} (expected rising values)`)
    }
    if (i > 0 && !(sign * (y[i] - y[i - 1]) > 0)) {
      throw new RangeError(
        `invalid point ${i}: ${y[i]} after ${y[i - 1]} (expected strictly monotone values)`,
      )
    }
  }
  const knots = Float64Array.from(x)
  const values = Float64Array.from(y)
  const slope = knotSlopes(knots, values)
  const c2 = new Float64Array(count - 1)
  const c3 = new Float64Array(count - 1)
  for (let i = 0; i < count - 1; i++) {
    const width = knots[i + 1] - knots[i]
    const secant = (values[i + 1] - values[i]) / width
    c2[i] = (3 * secant - 2 * slope[i] - slope[i + 1]) / width
    c3[i] = (slope[i] + slope[i + 1] - 2 * secant) / (width * width)
  }
  const parts = Math.min(MOST_PARTS, PARTS_PER_SEGMENT * count)
  const partsPerX = parts / (knots[count - 1] - knots[0])
  const firstSegment = new Uint32Array(parts + 1)
  for (let part = 0, segment = 0; part <= parts; part++) {
    const left = knots[0] + part / partsPerX
    while (segment < count - 2 && knots[segment + 1] <= left) segment++
    // One back where rounding could put a point of this part before the knot.
    firstSegment[part] = segment > 0 && knots[segment] > left - 1e-9 / partsPerX ? segment - 1 : segment
  }
  return { x: knots, y: values, slope, c2, c3, firstSegment, partsPerX }
}

function knotSlopes(x: Float64Array, y: Float64Array): Float64Array {
  const last = x.length - 1
  const slope = new Float64Array(last + 1)
  const secant = (i: number) => (y[i + 1] - y[i]) / (x[i + 1] - x[i])
  if (last === 1) {
    slope.fill(secant(0))
    return slope
  }
  for (let i = 1; i < last; i++) {
    const before = x[i] - x[i - 1]
    const after = x[i + 1] - x[i]
    const weightBefore = 2 * after + before
    const weightAfter = after + 2 * before
    slope[i] = (weightBefore + weightAfter) / (weightBefore / secant(i - 1) + weightAfter / secant(i))
  }
  slope[0] = endSlope(x[1] - x[0], x[2] - x[1], secant(0), secant(1))
  slope[last] = endSlope(x[last] - x[last - 1], x[last - 1] - x[last - 2], secant(last - 1), secant(last - 2))
  return slope
}

function endSlope(near: number, far: number, nearSecant: number, farSecant: number): number {
  const slope = ((2 * near + far) * nearSecant - near * farSecant) / (near + far)
  if (slope * nearSecant <= 0) return nearSecant / 2
  return Math.abs(slope) > 3 * Math.abs(nearSecant) ? 3 * nearSecant : slope
}

/** Segment that holds x, which must lie inside the curve's range. */
function segmentAt(curve: MonotoneCurve, x: number): number {
  const knots = curve.x
  let segment = curve.firstSegment[((x - knots[0]) * curve.partsPerX) | 0]
  const lastSegment = knots.length - 2
  while (segment < lastSegment && x >= knots[segment + 1]) segment++
  return segment
}

/** Value at x. NaN for NaN and outside the curve's range: there is no extrapolation. */
export function curveValue(curve: MonotoneCurve, x: number): number {
  const knots = curve.x
  const last = knots.length - 1
  if (!(x >= knots[0] && x <= knots[last])) return NaN
  if (x === knots[last]) return curve.y[last]
  const segment = segmentAt(curve, x)
  const t = x - knots[segment]
  return curve.y[segment] + t * (curve.slope[segment] + t * (curve.c2[segment] + t * curve.c3[segment]))
}

/** Slope dy/dx at x. NaN for NaN and outside the curve's range. */
export function curveSlope(curve: MonotoneCurve, x: number): number {
  const knots = curve.x
  if (!(x >= knots[0] && x <= knots[knots.length - 1])) return NaN
  const segment = segmentAt(curve, x)
  const t = x - knots[segment]
  return curve.slope[segment] + t * (2 * curve.c2[segment] + 3 * t * curve.c3[segment])
}

/**
 * The x at which the curve has value y, to the last bits of a double. NaN for NaN and outside the curve's values.
 * Newton's step kept inside a bracket that is halved whenever the step leaves it.
 */
export function curveInverse(curve: MonotoneCurve, y: number): number {
  const { x: knots, y: values, slope, c2, c3 } = curve
  const last = knots.length - 1
  const sign = values[last] > values[0] ? 1 : -1
  if (!(sign * (y - values[0]) >= 0 && sign * (values[last] - y) >= 0)) return NaN
  let low = 0
  let high = last
  while (high - low > 1) {
    const middle = (low + high) >> 1
    if (sign * (y - values[middle]) >= 0) low = middle
    else high = middle
  }
  if (y === values[high]) return knots[high]
  const wanted = y - values[low]
  let least = 0
  let most = knots[high] - knots[low]
  let t = (most * wanted) / (values[high] - values[low])
  for (let step = 0; step < 60; step++) {
    const excess = t * (slope[low] + t * (c2[low] + t * c3[low])) - wanted
    if (excess === 0) break
    if (sign * excess > 0) most = t
    else least = t
    let next = t - excess / (slope[low] + t * (2 * c2[low] + 3 * t * c3[low]))
    if (!(next > least && next < most)) next = (least + most) / 2
    if (next === t) break
    t = next
  }
  // Rounding of the sum could else leave the segment, and with it the curve's range.
  return Math.min(knots[low] + t, knots[high])
}
