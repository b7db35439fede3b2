import type { Pull, PullRepeat } from '../../../core/contract/result.ts'
import type { TraceAnswer } from '../../worker/messages.ts'
import { lambdaChannel } from './channelNames.ts'

/** Width of a bin of engine speed, rpm, and of a column of time that it is filled from, s. */
const binRpm = 100
const columnS = 0.1

/** λ of one pull by engine speed: one value a bin, in ascending speed. */
export type PullCurve = ReadonlyMap<number, number>

export type ColumnsOf = (
  fromS: number,
  toS: number,
  columnCount: number,
  channels: readonly string[],
) => Promise<TraceAnswer>

interface PullPoint {
  rpm: number
  lambda: number | null
  wheel_kW: number | null
}

/** Points of a pull as the analysis gives them; empty when it gave none. */
const pointsOf = (pull: Pull) => (Array.isArray(pull.curve) ? (pull.curve as PullPoint[]) : [])

function onBins(pull: Pull, readValue: (point: PullPoint) => number | null): PullCurve {
  const curve = new Map<number, number>()
  for (const point of pointsOf(pull)) {
    const value = readValue(point)
    if (value !== null) curve.set(Math.round(point.rpm / binRpm) * binRpm, value)
  }
  return new Map([...curve].sort((a, b) => a[0] - b[0]))
}

/** Power at the wheels by engine speed, kW; empty where it could not be worked out. */
export const powerCurve = (pull: Pull): PullCurve => onBins(pull, ({ wheel_kW }) => wheel_kW)

/** Power of like pulls by engine speed, kW: one standard deviation above and below their mean, and the mean. */
export function repeatCurves({ band }: PullRepeat): readonly [PullCurve, PullCurve, PullCurve] {
  const at = (sign: number): PullCurve =>
    new Map(band.map(({ rpm, wheel_kW, scatter_kW }) => [rpm, wheel_kW + sign * scatter_kW]))
  return [at(1), at(-1), at(0)]
}

/** Mean λ in each bin of engine speed of a pull; empty when either is missing. */
export async function pullCurve(pull: Pull, columnsOf: ColumnsOf): Promise<PullCurve> {
  const known = onBins(pull, ({ lambda }) => lambda)
  if (known.size > 0) return known
  const count = Math.max(10, Math.round((pull.end_s - pull.start_s) / columnS))
  const answer = await columnsOf(pull.start_s, pull.end_s, count, [lambdaChannel, 'engine_speed'])
  const lambda = answer.values[answer.channels.indexOf(lambdaChannel)]
  const rpm = answer.values[answer.channels.indexOf('engine_speed')]
  const sums = new Map<number, { sum: number; count: number }>()
  if (!lambda || !rpm) return new Map()
  for (let i = 0; i < lambda.length; i++) {
    if (!Number.isFinite(lambda[i]) || !Number.isFinite(rpm[i])) continue
    const bin = Math.round(rpm[i] / binRpm) * binRpm
    const entry = sums.get(bin) ?? { sum: 0, count: 0 }
    entry.sum += lambda[i]
    entry.count++
    sums.set(bin, entry)
  }
  return new Map([...sums].sort((a, b) => a[0] - b[0]).map(([bin, { sum, count: n }]) => [bin, sum / n]))
}

/** Curves on one base of engine speeds: `undefined` where a pull has no value there. */
export function onOneBase(curves: readonly PullCurve[]): [Float64Array, ...(number | undefined)[][]] {
  const speeds = [...new Set(curves.flatMap((curve) => [...curve.keys()]))].sort((a, b) => a - b)
  return [Float64Array.from(speeds), ...curves.map((curve) => speeds.map((speed) => curve.get(speed)))]
}
