import type { Transient } from '../../../core/contract/result.ts'
import { medianOf } from '../../../core/numeric/average.ts'

/** Seconds before and after the opening that are drawn, and the distance of the points. */
export const tipInFromS = -0.5
export const tipInToS = 3
const stepS = 0.05

export interface TipInCurves {
  timeS: Float64Array
  /** One curve for each tip-in, in their order; null where nothing is known. */
  curves: (number | null)[][]
  /** Median of the curves at each moment that at least half of them (and two) know. */
  typical: (number | null)[]
  /** Where the typical one is leanest, after the opening. */
  peak?: { timeS: number; lambda: number }
}

type TracePoint = [number, number | null]

/** Tip-ins with a trace laid over each other, aligned at the opening. */
export function tipInCurves(transients: readonly Transient[]): TipInCurves {
  const count = Math.round((tipInToS - tipInFromS) / stepS) + 1
  const timeS = Float64Array.from(
    { length: count },
    (_, i) => Math.round((tipInFromS + i * stepS) * 100) / 100,
  )
  const curves = transients.map((transient) => {
    const trace = Array.isArray(transient.trace) ? (transient.trace as TracePoint[]) : []
    return Array.from(timeS, (t) => valueAt(trace, t))
  })
  const least = Math.max(Math.min(2, curves.length), Math.ceil(curves.length / 2))
  const typical = Array.from(timeS, (_t, i) => {
    const values = curves.map((curve) => curve[i]).filter((value): value is number => value !== null)
    if (values.length < least || values.length === 0) return null
    return medianOf(values)
  })
  let peak: TipInCurves['peak']
  for (let i = 0; i < count; i++) {
    const lambda = typical[i]
    if (timeS[i] > 0 && lambda !== null && !(peak && peak.lambda >= lambda))
      peak = { timeS: timeS[i], lambda }
  }
  return { timeS, curves, typical, ...(peak ? { peak } : {}) }
}

/** Value between two points of a sparse trace; null outside it and beside a hole. */
function valueAt(trace: readonly TracePoint[], timeS: number): number | null {
  for (let i = 1; i < trace.length; i++) {
    const [t1, v1] = trace[i]
    if (t1 < timeS) continue
    const [t0, v0] = trace[i - 1]
    if (t0 > timeS || v0 === null || v1 === null) return null
    return t1 === t0 ? v1 : v0 + ((v1 - v0) * (timeS - t0)) / (t1 - t0)
  }
  return null
}
