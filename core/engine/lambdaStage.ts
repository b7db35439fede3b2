import { boardFault } from '../sensing/boardFaults.ts'
import { lambdaFromPumpCurrent } from '../sensing/pumpCurrent.ts'
import { readinessCode, readinessProgressPct } from '../sensing/readiness.ts'
import type { SensorCurve } from '../sensing/sensorCurve.ts'

/** Why a bank has no λ now; 0 is trusted. */
export const trust = Object.freeze({ ok: 0, warming: 1, fault: 2, gap: 3, noSensor: 4, outOfRange: 5 })

export interface LambdaStageOptions {
  readonly bank: 1 | 2
  readonly sensor: SensorCurve
  /** Sensor gain by which pump current is divided, default 1 (no free-air record). */
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
    gain: 1,
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
  cellOhm: number
  heaterPct: number
  heatingS: number
  warmingPct(): number
  /** A board event that concerns this bank. */
  event(timeS: number, code: string): void
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

const TABLE_STEPS = 8192
/** Share of the current: a free-air check on an unknown damp day. */
const GAIN_UNCERTAINTY = 0.01
const NO_RECORD_GAIN_UNCERTAINTY = 0.03
/** λ beyond these is no mixture an engine runs on; from a board that works λ out itself. */
const LEAST_LAMBDA = 0.5
const MOST_LAMBDA = 10

export function createLambdaStage(options: LambdaStageOptions): LambdaStage {
  const { sensor, gain } = options
  const knots = sensor.inverseLambda.x
  const firstMa = knots[0]
  const lastMa = knots[knots.length - 1]
  const stepsPerMa = TABLE_STEPS / (lastMa - firstMa)
  // 1/λ is nearly straight between the steps; λ itself is not at the lean end.
  const phi = new Float64Array(TABLE_STEPS + 2)
  for (let i = 0; i <= TABLE_STEPS; i++) {
    const ma = i === TABLE_STEPS ? lastMa : firstMa + i / stepsPerMa
    phi[i] = 1 / lambdaFromPumpCurrent(ma, sensor)
  }
  phi[TABLE_STEPS + 1] = phi[TABLE_STEPS]
  const perGain = 1 / gain
  const gainShare = gain === 1 ? NO_RECORD_GAIN_UNCERTAINTY : GAIN_UNCERTAINTY
  let isReady = false
  let code = 0
  // Fields of an object, so that no number is boxed at each sample.
  const since = { heatingS: Number.NaN, readingS: Number.NaN }
  let faultS = Number.NEGATIVE_INFINITY
  let faultName = ''
  let supplyLowFromS = Number.NaN

  const stage: LambdaStage = {
    lambda: Number.NaN,
    reason: trust.noSensor,
    faultCode: '',
    uncertainty: Number.NaN,
    cellOhm: Number.NaN,
    heaterPct: Number.NaN,
    heatingS: 0,
    warmingPct: () => readinessProgressPct(code, stage.cellOhm, stage.heatingS, sensor),
    event(timeS, eventCode) {
      if (!boardFault(eventCode).stopsLambda) return
      faultS = timeS
      faultName = eventCode
    },
    step(timeS, pumpMa, hasPump, cellOhm, heaterPct, boardLambda, hasBoardLambda, supplyV) {
      if (!(timeS >= since.heatingS)) since.heatingS = timeS
      stage.heatingS = timeS - since.heatingS
      stage.cellOhm = cellOhm
      stage.heaterPct = heaterPct
      stage.lambda = Number.NaN
      code = readinessCode(cellOhm, heaterPct, stage.heatingS, sensor, isReady)
      isReady = code === 2 || code === 3
      if (hasPump || hasBoardLambda) since.readingS = timeS
      stage.reason = judge(timeS, cellOhm, supplyV)
      if (stage.reason !== trust.ok) return
      if (hasPump) fromCurrent(pumpMa * perGain)
      else if (hasBoardLambda) fromBoard(boardLambda)
    },
  }

  function judge(timeS: number, cellOhm: number, supplyV: number): number {
    if (supplyV < options.supplyLowV) {
      if (Number.isNaN(supplyLowFromS)) supplyLowFromS = timeS
    } else supplyLowFromS = Number.NaN
    stage.faultCode = ''
    const hold = Number.isNaN(cellOhm) ? options.blindFaultHoldS : options.faultHoldS
    if (timeS - faultS < hold) stage.faultCode = faultName
    else if (code === 4) stage.faultCode = 'cell_open'
    else if (code === 5) stage.faultCode = 'cell_short'
    else if (timeS - supplyLowFromS >= options.supplyLowS) stage.faultCode = 'supply_low'
    if (stage.faultCode !== '') return trust.fault
    if (code === 1) return trust.warming
    if (Number.isNaN(since.readingS)) return trust.noSensor
    return timeS - since.readingS > options.gapS ? trust.gap : trust.ok
  }

  function fromCurrent(ma: number): void {
    if (!(ma >= firstMa && ma <= lastMa)) {
      stage.reason = trust.outOfRange
      return
    }
    const place = (ma - firstMa) * stepsPerMa
    const step = place | 0
    const low = phi[step]
    stage.lambda = 1 / (low + (phi[step + 1] - low) * (place - step))
    stage.uncertainty = lambdaUncertaintyAt(ma)
  }

  function fromBoard(lambda: number): void {
    if (lambda >= LEAST_LAMBDA && lambda <= MOST_LAMBDA) {
      stage.lambda = lambda
      stage.uncertainty =
        options.outputUncertainty?.(lambda) ?? Math.abs(lambda - 1) * NO_RECORD_GAIN_UNCERTAINTY
    } else stage.reason = trust.outOfRange
  }

  function lambdaUncertaintyAt(ma: number): number {
    return Math.abs(ma) * gainShare * slopeAt(ma)
  }

  function slopeAt(ma: number): number {
    const place = ((ma - firstMa) * stepsPerMa) | 0
    const lambda = 1 / phi[place]
    return (phi[place] - phi[Math.min(TABLE_STEPS, place + 1)]) * stepsPerMa * lambda * lambda
  }
  return stage
}
