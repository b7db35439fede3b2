import { type LambdaStage, trust } from '../engine/lambdaStage.ts'
import type { SignalConditioner } from '../engine/signalConditioner.ts'
import { GrowingDoubles, GrowingWhole } from '../numeric/growingArray.ts'

/**
 * What does not depend on the lessons of a run, worked out while its rows come and taken up again by the pass that makes the result: λ and its trust
 * for each row, and the conditioned points.
 */
export class PreparedRows {
  readonly #lambda: readonly [GrowingDoubles, GrowingDoubles]
  readonly #reason: readonly [GrowingWhole, GrowingWhole]
  readonly #timeS: GrowingDoubles
  readonly #rpm: GrowingDoubles
  readonly #throttlePct: GrowingDoubles
  readonly #mapKpa: GrowingDoubles
  /** Twice the row before which the point came, and one more if it came with the row itself. */
  readonly #place: GrowingWhole

  /** @param rows so many are expected */
  constructor(rows: number) {
    const points = Math.ceil(rows / 2)
    this.#lambda = [new GrowingDoubles(rows), new GrowingDoubles(0)]
    this.#reason = [new GrowingWhole(Uint8Array, rows), new GrowingWhole(Uint8Array, 0)]
    this.#timeS = new GrowingDoubles(points)
    this.#rpm = new GrowingDoubles(points)
    this.#throttlePct = new GrowingDoubles(points)
    this.#mapKpa = new GrowingDoubles(points)
    this.#place = new GrowingWhole(Int32Array, points)
  }

  addLambda(bank: 0 | 1, { lambda, reason }: LambdaStage): void {
    this.#lambda[bank].push(lambda)
    this.#reason[bank].push(reason)
  }

  /** @param isWithRow false when a gap before the row, or the run's end, brought the point out */
  addPoint(point: SignalConditioner, row: number, isWithRow: boolean): void {
    this.#timeS.push(point.timeS)
    this.#rpm.push(point.rpm)
    this.#throttlePct.push(point.throttlePct)
    this.#mapKpa.push(point.mapKpa)
    this.#place.push(2 * row + (isWithRow ? 1 : 0))
  }

  /** λ of a bank, row after row; what it is told is known already. */
  stage(bank: 0 | 1): LambdaStage {
    return new PreparedStage(this.#lambda[bank].values(), this.#reason[bank].values())
  }

  /** The points, as the same rows are pushed once more. */
  readonly conditioner = (onPoint: () => void): SignalConditioner =>
    new PreparedPoints(onPoint, {
      timeS: this.#timeS.values(),
      rpm: this.#rpm.values(),
      throttlePct: this.#throttlePct.values(),
      mapKpa: this.#mapKpa.values(),
      place: this.#place.values(),
    })
}

class PreparedStage implements LambdaStage {
  lambda = Number.NaN
  reason: number = trust.noSensor
  readonly faultCode = ''
  readonly uncertainty = Number.NaN
  readonly cellOhm = Number.NaN
  readonly heaterPct = Number.NaN
  readonly heatingS = 0
  readonly #lambdas: Float64Array
  readonly #reasons: ArrayLike<number>
  #row = 0

  constructor(lambdas: Float64Array, reasons: ArrayLike<number>) {
    this.#lambdas = lambdas
    this.#reasons = reasons
  }

  warmingPct(): number {
    return Number.NaN
  }

  event(): void {}

  fork(): LambdaStage {
    const other = new PreparedStage(this.#lambdas, this.#reasons)
    other.#row = this.#row
    return other
  }

  step(): void {
    const row = this.#row++
    this.lambda = this.#lambdas[row]
    this.reason = this.#reasons[row]
  }
}

interface PointColumns {
  readonly timeS: Float64Array
  readonly rpm: Float64Array
  readonly throttlePct: Float64Array
  readonly mapKpa: Float64Array
  readonly place: ArrayLike<number>
}

class PreparedPoints implements SignalConditioner {
  timeS = Number.NaN
  rpm = Number.NaN
  throttlePct = Number.NaN
  mapKpa = Number.NaN
  readonly throttleVariancePct2 = Number.NaN
  readonly #onPoint: () => void
  readonly #columns: PointColumns
  #row = 0
  #next = 0

  constructor(onPoint: () => void, columns: PointColumns) {
    this.#onPoint = onPoint
    this.#columns = columns
  }

  push(): void {
    this.#passOn(2 * this.#row + 1)
    this.#row++
  }

  flush(): void {
    this.#passOn(2 * this.#row)
  }

  #passOn(place: number): void {
    const { timeS, rpm, throttlePct, mapKpa, place: places } = this.#columns
    while (this.#next < places.length && places[this.#next] <= place) {
      const at = this.#next++
      this.timeS = timeS[at]
      this.rpm = rpm[at]
      this.throttlePct = throttlePct[at]
      this.mapKpa = mapKpa[at]
      this.#onPoint()
    }
  }
}
