import {
  createLambdaStage,
  defaultLambdaStageOptions,
  type LambdaStage,
  trust,
} from '../engine/lambdaStage.ts'
import type { SensorCurve } from '../sensing/sensorCurve.ts'
import { channelSlots as slot } from './channels.ts'
import type { InputSettings } from './inputTransfers.ts'
import type { PreparedRows } from './preparedRows.ts'
import type { Row } from './rowReader.ts'

export interface LambdaFeedOptions {
  readonly sensor: SensorCurve
  readonly gains: readonly [number, number]
  /** Standard uncertainty of a λ that comes as a voltage, by bank. */
  readonly outputUncertainty?: InputSettings['outputUncertainty']
  /** What an earlier pass over the same rows has worked out already. */
  readonly prepared?: PreparedRows
  /** Called for each reading and each reason why there is none. */
  readonly onLambda: (bank: 0 | 1, timeS: number, lambda: number, reason: number) => void
}

/** λ of both banks, row by row, with its trust. */
export interface LambdaFeed {
  readonly stages: readonly [LambdaStage, LambdaStage]
  /** Newest trusted λ and its time, by bank. */
  readonly newest: readonly [Float64Array, Float64Array]
  read(row: Row, bank: 0 | 1): void
}

/** From a bank's slots to those of the second. */
const BANK_SHIFT = slot.pump_current_2 - slot.pump_current

/** Tells a bank's stage what a row holds of it. */
export function stepStage(stage: LambdaStage, { timeS, value, fresh }: Row, bank: 0 | 1): void {
  const shift = bank * BANK_SHIFT
  stage.step(
    timeS,
    value[slot.pump_current + shift],
    fresh[slot.pump_current + shift] === 1,
    value[slot.cell_resistance + shift],
    value[slot.heater_duty + shift],
    value[slot.lambda + shift],
    fresh[slot.lambda + shift] === 1,
    value[slot.supply],
  )
}

/** True when a row brought a reading of the bank. */
export function hasReading({ fresh }: Row, bank: 0 | 1): boolean {
  const shift = bank * BANK_SHIFT
  return fresh[slot.pump_current + shift] === 1 || fresh[slot.lambda + shift] === 1
}

export function createLambdaFeed({
  sensor,
  gains,
  outputUncertainty,
  prepared,
  onLambda,
}: LambdaFeedOptions): LambdaFeed {
  const stage = (bank: 0 | 1) =>
    prepared?.stage(bank) ??
    createLambdaStage({
      ...defaultLambdaStageOptions,
      bank: bank === 0 ? 1 : 2,
      sensor,
      gain: gains[bank],
      outputUncertainty: outputUncertainty?.[bank],
    })
  const stages: [LambdaStage, LambdaStage] = [stage(0), stage(1)]
  const newest: [Float64Array, Float64Array] = [
    new Float64Array([Number.NaN, Number.NaN]),
    new Float64Array([Number.NaN, Number.NaN]),
  ]
  return {
    stages,
    newest,
    read(row, bank) {
      const own = stages[bank]
      stepStage(own, row, bank)
      const { lambda, reason } = own
      if (reason !== trust.ok || hasReading(row, bank)) onLambda(bank, row.timeS, lambda, reason)
      const last = newest[bank]
      if (!Number.isNaN(lambda)) {
        last[0] = lambda
        last[1] = row.timeS
      } else if (reason !== trust.ok) last[0] = Number.NaN
    },
  }
}
