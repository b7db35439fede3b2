import type { DerivedColumns, DerivedLambda } from '../contract/derived.ts'
import { trust } from '../engine/lambdaStage.ts'
import { stateNames } from '../engine/operatingState.ts'
import type { PointHistory } from '../engine/pointHistory.ts'
import { insideUnit } from '../units/channelUnits.ts'
import { channelNames, slotCount } from './channels.ts'
import type { ColumnStore } from './columnStore.ts'
import type { Row } from './rowReader.ts'
import type { RunView } from './runView.ts'

/** Code of a row that has no state or reason. */
export const noCode = 255

/** Judged moments farther apart than this have a gap between them, s: chosen here, five times their usual distance. */
const HOLD_S = 0.1

/** Why a row's λ may be believed or not, by code. */
export const trustNames: readonly string[] = Object.freeze(
  Object.entries(trust)
    .sort((a, b) => a[1] - b[1])
    .map(([name]) => (name === 'noSensor' ? 'no_sensor' : name === 'outOfRange' ? 'out_of_range' : name)),
)

/** Looks on while the detectors go over a run's rows, for `DerivedColumns`. */
export interface DerivedTap {
  row(row: Row, view: RunView): void
  point(history: PointHistory, n: number): void
  columns(): DerivedColumns
}

/** Room for all rows of `main` at once; the values are those the detectors themselves work with. No allocation while rows pass. */
export function createDerivedTap(
  main: ColumnStore,
  bankCount: 1 | 2,
  stoichiometricRatio: number,
): DerivedTap {
  const count = main.end - main.first
  const timeS = main.timeS.slice(main.first, main.end)
  const missing = () => new Float32Array(count).fill(Number.NaN)
  const bySlot: (Float32Array | undefined)[] = new Array(slotCount).fill(undefined)
  const state = new Uint8Array(count).fill(noCode)
  const banks: DerivedLambda[] = ([1, 2] as const).slice(0, bankCount).map((bank) => ({
    bank,
    lambda: missing(),
    lambdaAtCause: missing(),
    trust: new Uint8Array(count).fill(noCode),
  }))
  let rowAt = 0
  let pointAt = 0

  /** A state lasts until the next moment that was judged, but not over a gap. */
  function holdState(from: number, to: number): void {
    for (let i = from + 1; i < to && timeS[i] - timeS[from] <= HOLD_S; i++) state[i] = state[from]
  }

  /** Rows between two judged moments: quick boards send more of them than the detectors need. */
  function fillBetween(left: number, right: number): void {
    holdState(left, right)
    const spanS = timeS[right] - timeS[left]
    if (spanS > HOLD_S) return
    for (let b = 0; b < banks.length; b++) {
      const { lambdaAtCause } = banks[b]
      const rise = lambdaAtCause[right] - lambdaAtCause[left]
      for (let i = left + 1; i < right; i++)
        lambdaAtCause[i] = lambdaAtCause[left] + (rise * (timeS[i] - timeS[left])) / spanS
    }
  }

  return {
    row({ value, fresh }, view) {
      for (let slot = 0; slot < slotCount; slot++) {
        if (fresh[slot] !== 1) continue
        let column = bySlot[slot]
        if (column === undefined) {
          column = missing()
          bySlot[slot] = column
        }
        column[rowAt] = value[slot]
      }
      for (let b = 0; b < banks.length; b++) {
        const stage = view.stages[b]
        banks[b].lambda[rowAt] = stage.lambda
        banks[b].trust[rowAt] = stage.reason
      }
      rowAt++
    },
    point(history, n) {
      const at = n & history.mask
      const pointS = history.timeS[at]
      const lastAt = pointAt
      while (pointAt < count && timeS[pointAt] < pointS) pointAt++
      if (pointAt >= count || timeS[pointAt] !== pointS) return
      state[pointAt] = history.state[at]
      for (let b = 0; b < banks.length; b++) banks[b].lambdaAtCause[pointAt] = history.lambda[b][at]
      if (state[lastAt] !== noCode) fillBetween(lastAt, pointAt)
    },
    columns: () => {
      if (count > 0 && state[pointAt] !== noCode) holdState(pointAt, count)
      return {
        timeS,
        channels: channelNames.flatMap((name, slot) => {
          const values = bySlot[slot]
          return values ? [{ name, unit: insideUnit(name), values }] : []
        }),
        banks,
        state,
        stateNames,
        trustNames,
        stoichiometricRatio,
      }
    },
  }
}
