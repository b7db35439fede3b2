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
  return new Reader(others, options)
}

const noTimes = new Float64Array(0)

class Reader implements RowReader {
  readonly row: Row
  readonly #value = new Float64Array(slotCount).fill(Number.NaN)
  readonly #fresh = new Uint8Array(slotCount)
  /** Time of the value that is held, by slot; of one that the newest row brought it may be noted later. */
  readonly #heldS = new Float64Array(slotCount).fill(Number.NEGATIVE_INFINITY)
  readonly #holdS: Float64Array
  readonly #others: readonly ColumnStore[]
  readonly #cursors = new Map<ColumnStore, number>()
  #barometerKpa: number
  #inputs: readonly InputTransfer[]
  // The main source's columns as they were when last looked at: they change when it grows.
  #timeS: Float64Array = noTimes
  #slots: readonly number[] = []
  #columns: readonly Float32Array[] = []

  constructor(others: readonly ColumnStore[], options: RowReaderOptions) {
    this.#others = others
    this.#barometerKpa = options.barometerKpa
    this.#inputs = options.inputs
    this.#holdS = new Float64Array(slotCount).fill(options.quickHoldS)
    for (const slot of slowSlots) this.#holdS[slot] = options.slowHoldS
    this.#holdS[channelSlots.road_speed] = ROAD_SPEED_HOLD_S
    // Inputs are never held too long: they are what a sender made of them.
    this.#holdS.fill(Number.POSITIVE_INFINITY, firstInputSlot)
    this.row = { timeS: Number.NaN, value: this.#value, fresh: this.#fresh }
  }

  read(main: ColumnStore, index: number): void {
    if (main.timeS !== this.#timeS || main.slots.length !== this.#slots.length) this.#look(main)
    const value = this.#value
    const fresh = this.#fresh
    const heldS = this.#heldS
    const slots = this.#slots
    const columns = this.#columns
    const t = this.#timeS[index]
    const beforeS = this.row.timeS
    this.row.timeS = t
    const hasOthers = this.#others.length > 0
    if (!hasOthers && this.#inputs.length === 0) {
      for (let k = 0; k < columns.length; k++) {
        const slot = slots[k]
        const v = columns[k][index]
        if (!Number.isNaN(v)) {
          value[slot] = v
          fresh[slot] = 1
          continue
        }
        if (fresh[slot] === 1) heldS[slot] = beforeS
        fresh[slot] = 0
        if (t - heldS[slot] > this.#holdS[slot]) value[slot] = Number.NaN
      }
      if (main.vacuumDeclared) this.#shiftVacuum()
      return
    }
    if (hasOthers) {
      fresh.fill(0)
      this.#readOthers(t)
    }
    for (let k = 0; k < columns.length; k++) {
      const slot = slots[k]
      const v = columns[k][index]
      if (!Number.isNaN(v)) {
        value[slot] = v
        heldS[slot] = t
        fresh[slot] = 1
        continue
      }
      if (!hasOthers) fresh[slot] = 0
      if (t - heldS[slot] > this.#holdS[slot]) value[slot] = Number.NaN
    }
    if (hasOthers) this.#dropOld(t)
    if (this.#inputs.length > 0) this.#applyInputs()
    if (main.vacuumDeclared) this.#shiftVacuum()
  }

  setBarometer(kpa: number): void {
    this.#barometerKpa = kpa
  }

  setInputs(next: readonly InputTransfer[]): void {
    this.#noteHeld()
    for (const { channelSlot } of this.#inputs) {
      this.#fresh[channelSlot] = 0
      // What only a former input gave is no reading any more.
      if (this.#heldS[channelSlot] === Number.NEGATIVE_INFINITY) this.#value[channelSlot] = Number.NaN
    }
    this.#inputs = next
  }

  /** While nothing else writes to the row, times are noted when a channel falls silent; from here on something may. */
  #noteHeld(): void {
    if (this.#others.length > 0 || this.#inputs.length > 0) return
    for (const slot of this.#slots) if (this.#fresh[slot] === 1) this.#heldS[slot] = this.row.timeS
  }

  #look(main: ColumnStore): void {
    this.#timeS = main.timeS
    this.#slots = [...main.slots]
    this.#columns = main.slots.map((slot) => main.columns[slot]!)
  }

  #readOthers(timeS: number): void {
    for (const store of this.#others) {
      // Cursors are row numbers, which stay when old rows leave the arrays.
      const cursor = Math.max(store.first, (this.#cursors.get(store) ?? 0) - store.dropped)
      let next = cursor
      while (next < store.end && store.timeS[next] <= timeS) next++
      if (next === cursor) continue
      this.#cursors.set(store, next + store.dropped)
      for (const slot of store.slots) this.#takeNewest(store, slot, cursor, next)
    }
  }

  #takeNewest(store: ColumnStore, slot: number, from: number, to: number): void {
    const column = store.columns[slot]!
    for (let i = to - 1; i >= from; i--) {
      const v = column[i]
      if (Number.isNaN(v)) continue
      if (store.timeS[i] >= this.#heldS[slot]) {
        this.#value[slot] = v
        this.#heldS[slot] = store.timeS[i]
        this.#fresh[slot] = 1
      }
      return
    }
  }

  /** What the other sources told too long ago no longer counts. */
  #dropOld(timeS: number): void {
    for (const { slots } of this.#others) {
      for (const slot of slots) {
        if (timeS - this.#heldS[slot] > this.#holdS[slot]) this.#value[slot] = Number.NaN
      }
    }
  }

  #applyInputs(): void {
    for (const { inputSlot, channelSlot, convert } of this.#inputs) {
      this.#value[channelSlot] = convert(this.#value[inputSlot])
      this.#fresh[channelSlot] = this.#fresh[inputSlot]
    }
  }

  /** Vacuum is against the air around: a board's own barometer tells it best, and the load is taken against the same. */
  #shiftVacuum(): void {
    if (this.#fresh[channelSlots.manifold_pressure] !== 1) return
    const measuredKpa = this.#value[channelSlots.barometer]
    const kpa = measuredKpa > 0 ? measuredKpa : this.#barometerKpa
    if (kpa > 0) this.#value[channelSlots.manifold_pressure] += kpa - SEA_LEVEL_PRESSURE_KPA
  }
}
