import { SEA_LEVEL_PRESSURE_KPA } from '../air/standardAtmosphere.ts'
import { channelSlots, firstInputSlot, slotCount } from './channels.ts'
import type { ColumnStore } from './columnStore.ts'

/** One moment of all channels, reused for each row: newest values by slot, NaN when missing or too old. */
export interface Row {
  timeS: number
  readonly value: Float64Array
  /** 1 where this row brought a new value in that slot. */
  readonly fresh: Uint8Array
}

/** A sender on one of the board's plain inputs, brought to a channel. */
export interface InputTransfer {
  readonly inputSlot: number
  readonly channelSlot: number
  readonly convert: (volt: number) => number
}

export interface RowReaderOptions {
  /** Age after which the last value of a quick channel no longer counts, s, default 0.5. */
  readonly quickHoldS: number
  /** The same for what changes slowly: temperatures, barometer, humidity, supply, s, default 10. */
  readonly slowHoldS: number
  /** Air pressure of the day, kPa, by which pressures declared as vacuum are shifted; NaN leaves them at sea level's. */
  readonly barometerKpa: number
  readonly inputs: readonly InputTransfer[]
}

/** Common practice, no source. */
export const defaultRowReaderOptions: Readonly<RowReaderOptions> = Object.freeze({
  quickHoldS: 0.5,
  slowHoldS: 10,
  barometerKpa: Number.NaN,
  inputs: [],
})

const slowSlots = [
  channelSlots.barometer,
  channelSlots.coolant,
  channelSlots.intake_air,
  channelSlots.supply,
  channelSlots.humidity,
  channelSlots.exhaust_temperature,
  channelSlots.exhaust_temperature_2,
]
/** A position receiver tells once a second at the least. */
const ROAD_SPEED_HOLD_S = 2.5

/** Reads a source row by row, with the other sources' last values beside it. Each source is walked once, forward. */
export interface RowReader {
  readonly row: Row
  /** Fills `row` from row `index` of the main source; rows must be read in ascending order. */
  read(main: ColumnStore, index: number): void
  setBarometer(kpa: number): void
  setInputs(inputs: readonly InputTransfer[]): void
}

export function createRowReader(
  others: readonly ColumnStore[],
  options: RowReaderOptions = defaultRowReaderOptions,
): RowReader {
  const value = new Float64Array(slotCount).fill(Number.NaN)
  const fresh = new Uint8Array(slotCount)
  const heldS = new Float64Array(slotCount).fill(Number.NEGATIVE_INFINITY)
  const holdS = new Float64Array(slotCount).fill(options.quickHoldS)
  for (const slot of slowSlots) holdS[slot] = options.slowHoldS
  holdS[channelSlots.road_speed] = ROAD_SPEED_HOLD_S
  const row: Row = { timeS: Number.NaN, value, fresh }
  const cursors = new Map<ColumnStore, number>()
  let barometerKpa = options.barometerKpa
  let inputs = options.inputs

  function readOthers(timeS: number): void {
    for (let s = 0; s < others.length; s++) {
      const store = others[s]
      // Cursors are row numbers, which stay when old rows leave the arrays.
      const cursor = Math.max(store.first, (cursors.get(store) ?? 0) - store.dropped)
      let next = cursor
      while (next < store.end && store.timeS[next] <= timeS) next++
      if (next === cursor) continue
      cursors.set(store, next + store.dropped)
      for (let k = 0; k < store.slots.length; k++) {
        const slot = store.slots[k]
        const column = store.columns[slot]!
        for (let i = next - 1; i >= cursor; i--) {
          const v = column[i]
          if (Number.isNaN(v)) continue
          if (store.timeS[i] >= heldS[slot]) {
            value[slot] = v
            heldS[slot] = store.timeS[i]
            fresh[slot] = 1
          }
          break
        }
      }
    }
  }

  /** What the other sources told too long ago no longer counts. */
  function dropOld(timeS: number): void {
    for (let s = 0; s < others.length; s++) {
      const { slots } = others[s]
      for (let k = 0; k < slots.length; k++) {
        const slot = slots[k]
        if (slot < firstInputSlot && timeS - heldS[slot] > holdS[slot]) value[slot] = Number.NaN
      }
    }
  }

  function applyInputs(): void {
    for (let k = 0; k < inputs.length; k++) {
      const { inputSlot, channelSlot, convert } = inputs[k]
      value[channelSlot] = convert(value[inputSlot])
      fresh[channelSlot] = fresh[inputSlot]
    }
  }

  return {
    row,
    read(main, index) {
      const t = main.timeS[index]
      row.timeS = t
      for (let slot = 0; slot < slotCount; slot++) fresh[slot] = 0
      if (others.length > 0) readOthers(t)
      const { slots, columns } = main
      for (let k = 0; k < slots.length; k++) {
        const slot = slots[k]
        const v = columns[slot]![index]
        if (!Number.isNaN(v)) {
          value[slot] = v
          heldS[slot] = t
          fresh[slot] = 1
        } else if (slot < firstInputSlot && t - heldS[slot] > holdS[slot]) value[slot] = Number.NaN
      }
      if (others.length > 0) dropOld(t)
      if (inputs.length > 0) applyInputs()
      if (main.vacuumDeclared && barometerKpa > 0 && fresh[channelSlots.manifold_pressure] === 1) {
        value[channelSlots.manifold_pressure] += barometerKpa - SEA_LEVEL_PRESSURE_KPA
      }
    },
    setBarometer(kpa) {
      barometerKpa = kpa
    },
    setInputs(next) {
      // What only a former input gave is no reading any more.
      for (const { channelSlot } of inputs) {
        if (heldS[channelSlot] === Number.NEGATIVE_INFINITY) value[channelSlot] = Number.NaN
      }
      inputs = next
    },
  }
}
