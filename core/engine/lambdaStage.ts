import { boardFault } from '../sensing/boardFaults.ts'
import { gainUncertainty } from '../sensing/freeAir.ts'
import { lambdaFromPumpCurrent } from '../sensing/pumpCurrent.ts'
import { readinessCode, readinessProgressPct } from '../sensing/readiness.ts'
import type { SensorCurve } from '../sensing/sensorCurve.ts'

/** Why a bank has no λ now; 0 is trusted. */
export const trust = Object.freeze({ ok: 0, warming: 1, fault: 2, gap: 3, noSensor: 4, outOfRange: 5 })

export interface LambdaStageOptions {
  readonly bank: 1 | 2
  readonly sensor: SensorCurve
  /** Sensor gain by which pump current is divided, default NaN: never checked in air, taken as it is. */
  readonly gain: number
  /** Standard uncertainty of a λ that the board was told by another device, e.g. as a voltage; default that of an unchecked sensor. */
  readonly outputUncertainty?: ((lambda: number) => number) | undefined
  /** A fault counts until this long after the board last told it, s; with a cell resistance the cell then decides. */
  readonly faultHoldS: number
  /** The same when the board tells no cell resistance. */
  readonly blindFaultHoldS: number
  /** Below this supply, V, for `supplyLowS` the heater cannot hold the sensor. */
  readonly supplyLowV: number
  readonly supplyLowS: number
  /** No new reading for this long is a gap, s. */
  readonly gapS: number
}

/** Common practice, no source. */
export const defaultLambdaStageOptions: Readonly<Omit<LambdaStageOptions, 'sensor' | 'bank'>> = Object.freeze(
  {
    gain: Number.NaN,
    faultHoldS: 1.5,
    blindFaultHoldS: 10,
    supplyLowV: 9,
    supplyLowS: 1,
    gapS: 0.5,
  },
)

/** λ of one bank and whether it may be believed, sample by sample. */
export interface LambdaStage {
  /** New λ of this sample, NaN when there is none or it may not be believed. */
  lambda: number
  /** One of `trust`. */
  reason: number
  faultCode: string
  /** Standard uncertainty of `lambda` from the reading's resolution and the gain. */
  uncertainty: number
  /** As the board last told it. */
  cellOhm: number
  heaterPct: number
  heatingS: number
  warmingPct(): number
  /** A board event that concerns this bank. */
  event(timeS: number, code: string): void
  /** One that goes on from here by itself. */
  fork(): LambdaStage
  step(
    timeS: number,
    pumpMa: number,
    hasPump: boolean,
    cellOhm: number,
    heaterPct: number,
    boardLambda: number,
    hasBoardLambda: boolean,
    supplyV: number,
  ): void
}

/**
 * A cell that was seen to warm is at its working point once its resistance has made no new low, by more than this share of nominal, for so long, s:
 * until then the heater still drives it and the pump current means nothing. Chosen here.
 */
const SETTLED_OHM_SHARE = 0.02
const SETTLED_S = 1
/** A cell that reads cold for less than this, s, was not cold: a loose plug, a disturbed line. Chosen here. */
const COLD_S = 0.3

const TABLE_STEPS = 8192
/** λ beyond these is no mixture an engine runs on; from a board that works λ out itself. */
const LEAST_LAMBDA = 0.5
const MOST_LAMBDA = 10

export function createLambdaStage(options: LambdaStageOptions): LambdaStage {
  return new Stage(options)
}

class Stage implements LambdaStage {
  lambda = Number.NaN
  reason: number = trust.noSensor
  faultCode = ''
  uncertainty = Number.NaN
  cellOhm = Number.NaN
  heaterPct = Number.NaN
  heatingS = 0
  readonly #options: LambdaStageOptions
  readonly #table: CurrentTable
  readonly #perGain: number
  readonly #gainShare: number
  #isReady = false
  #code = 0
  /** Since when the cell reads cold, and the low of a cell that was. */
  #coldS = Number.NaN
  /** The cell as the board last told it: one too cold to be measured is left out, and is no hotter for that. */
  #toldOhm = Number.NaN
  #lowOhm = Number.NaN
  #lowS = Number.NaN
  #heatingFromS = Number.NaN
  #readingS = Number.NaN
  #faultS = Number.NEGATIVE_INFINITY
  #faultName = ''
  #supplyLowFromS = Number.NaN

  constructor(options: LambdaStageOptions) {
    this.#options = options
    this.#table = tableOf(options.sensor)
    this.#perGain = Number.isNaN(options.gain) ? 1 : 1 / options.gain
    this.#gainShare = gainUncertainty(options.gain)
  }

  warmingPct(): number {
    return readinessProgressPct(this.#code, this.cellOhm, this.heatingS, this.#options.sensor)
  }

  event(timeS: number, eventCode: string): void {
    if (!boardFault(eventCode).stopsLambda) return
    this.#faultS = timeS
    this.#faultName = eventCode
  }

  fork(): LambdaStage {
    const other = new Stage(this.#options)
    other.lambda = this.lambda
    other.reason = this.reason
    other.faultCode = this.faultCode
    other.uncertainty = this.uncertainty
    other.cellOhm = this.cellOhm
    other.heaterPct = this.heaterPct
    other.heatingS = this.heatingS
    other.#isReady = this.#isReady
    other.#code = this.#code
    other.#coldS = this.#coldS
    other.#toldOhm = this.#toldOhm
    other.#lowOhm = this.#lowOhm
    other.#lowS = this.#lowS
    other.#heatingFromS = this.#heatingFromS
    other.#readingS = this.#readingS
    other.#faultS = this.#faultS
    other.#faultName = this.#faultName
    other.#supplyLowFromS = this.#supplyLowFromS
    return other
  }

  step(
    timeS: number,
    pumpMa: number,
    hasPump: boolean,
    cellOhm: number,
    heaterPct: number,
    boardLambda: number,
    hasBoardLambda: boolean,
    supplyV: number,
  ): void {
    if (!(timeS >= this.#heatingFromS)) this.#heatingFromS = timeS
    this.heatingS = timeS - this.#heatingFromS
    if (!Number.isNaN(cellOhm)) this.#toldOhm = cellOhm
    const toldOhm = this.#toldOhm
    this.cellOhm = toldOhm
    this.heaterPct = heaterPct
    this.lambda = Number.NaN
    let code = readinessCode(toldOhm, heaterPct, this.heatingS, this.#options.sensor, this.#isReady)
    if (code !== 1) this.#coldS = Number.NaN
    else if (Number.isNaN(this.#coldS)) this.#coldS = timeS
    if (!this.#isReady && !this.#isSettled(code, timeS, toldOhm)) code = 1
    this.#code = code
    this.#isReady = code === 2 || code === 3
    if (hasPump || hasBoardLambda) this.#readingS = timeS
    this.reason = this.#judge(timeS, cellOhm, supplyV)
    if (this.reason !== trust.ok) return
    if (hasPump) this.#fromCurrent(pumpMa * this.#perGain)
    else if (hasBoardLambda) this.#fromBoard(boardLambda)
  }

  /** Whether a cell that has come down to its working resistance stays there; one that was never seen to warm is taken at its word. */
  #isSettled(code: number, timeS: number, cellOhm: number): boolean {
    if (timeS - this.#coldS >= COLD_S && !Number.isNaN(cellOhm)) {
      this.#lowOhm = cellOhm
      this.#lowS = timeS
    }
    if ((code !== 2 && code !== 3) || Number.isNaN(this.#lowS)) return true
    if (cellOhm < this.#lowOhm - SETTLED_OHM_SHARE * this.#options.sensor.nominalResistanceOhm) {
      this.#lowOhm = cellOhm
      this.#lowS = timeS
    }
    return timeS - this.#lowS >= SETTLED_S
  }

  #judge(timeS: number, cellOhm: number, supplyV: number): number {
    const { supplyLowV, supplyLowS, blindFaultHoldS, faultHoldS, gapS } = this.#options
    if (supplyV < supplyLowV) {
      if (Number.isNaN(this.#supplyLowFromS)) this.#supplyLowFromS = timeS
    } else this.#supplyLowFromS = Number.NaN
    this.faultCode = ''
    const hold = Number.isNaN(cellOhm) ? blindFaultHoldS : faultHoldS
    if (timeS - this.#faultS < hold) this.faultCode = this.#faultName
    else if (this.#code === 4) this.faultCode = 'cell_open'
    else if (this.#code === 5) this.faultCode = 'cell_short'
    else if (timeS - this.#supplyLowFromS >= supplyLowS) this.faultCode = 'supply_low'
    if (this.faultCode !== '') return trust.fault
    if (this.#code === 1) return trust.warming
    if (Number.isNaN(this.#readingS)) return trust.noSensor
    return timeS - this.#readingS > gapS ? trust.gap : trust.ok
  }

  #fromCurrent(ma: number): void {
    const { phi, firstMa, lastMa, stepsPerMa } = this.#table
    if (!(ma >= firstMa && ma <= lastMa)) {
      this.reason = trust.outOfRange
      return
    }
    const place = (ma - firstMa) * stepsPerMa
    const step = place | 0
    const low = phi[step]
    const rise = phi[step + 1] - low
    this.lambda = 1 / (low + rise * (place - step))
    const lambda = 1 / low
    const slope = (low - phi[step < TABLE_STEPS ? step + 1 : TABLE_STEPS]) * stepsPerMa * lambda * lambda
    this.uncertainty = Math.abs(ma) * this.#gainShare * slope
  }

  #fromBoard(lambda: number): void {
    if (lambda >= LEAST_LAMBDA && lambda <= MOST_LAMBDA) {
      this.lambda = lambda
      this.uncertainty =
        this.#options.outputUncertainty?.(lambda) ?? Math.abs(lambda - 1) * gainUncertainty(Number.NaN)
    } else this.reason = trust.outOfRange
  }
}

/** Tells a board's event to the stages of the banks that it concerns. */
export function tellStages(stages: readonly [LambdaStage, LambdaStage], timeS: number, code: string): void {
  if (code.endsWith('_2')) stages[1].event(timeS, code.slice(0, -2))
  else stages[0].event(timeS, code)
  // The supply feeds both.
  if (code === 'supply_low') stages[1].event(timeS, code)
}

/** 1/λ over the pump current in even steps: it is nearly straight between them; λ itself is not at the lean end. */
interface CurrentTable {
  readonly phi: Float64Array
  readonly firstMa: number
  readonly lastMa: number
  readonly stepsPerMa: number
}

/** A curve never changes, and its table is wanted by each pass over a run. */
const tables = new WeakMap<SensorCurve, CurrentTable>()

function tableOf(sensor: SensorCurve): CurrentTable {
  let table = tables.get(sensor)
  if (!table) {
    table = createTable(sensor)
    tables.set(sensor, table)
  }
  return table
}

function createTable(sensor: SensorCurve): CurrentTable {
  const knots = sensor.inverseLambda.x
  const firstMa = knots[0]
  const lastMa = knots[knots.length - 1]
  const stepsPerMa = TABLE_STEPS / (lastMa - firstMa)
  const phi = new Float64Array(TABLE_STEPS + 2)
  for (let i = 0; i <= TABLE_STEPS; i++) {
    const ma = i === TABLE_STEPS ? lastMa : firstMa + i / stepsPerMa
    phi[i] = 1 / lambdaFromPumpCurrent(ma, sensor)
  }
  phi[TABLE_STEPS + 1] = phi[TABLE_STEPS]
  return { phi, firstMa, lastMa, stepsPerMa }
}
