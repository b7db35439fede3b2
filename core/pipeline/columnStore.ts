import type { SampleBlock } from '../contract/samples.ts'
import { channelNames, slotCount, slotOf, type UnitTransform, unitTransform } from './channels.ts'

/** Samples of one source, kept in inside units: times, and a column for each known channel that came at all. */
export interface ColumnStore {
  readonly source: number
  /** First kept row and one past the last, into the arrays. */
  first: number
  end: number
  /** Rows that left the arrays for good: row number = `dropped` + index. */
  dropped: number
  timeS: Float64Array
  /** By slot; undefined where the source has not sent the channel. NaN is no reading; behind `end` stands anything. */
  columns: (Float32Array | undefined)[]
  /** Slots with a column, ascending. */
  slots: number[]
  /** Smallest step of the channel's values in inside units, by slot: the resolution its declaration allows. */
  readonly stepBySlot: Float64Array
  /** Names that came and are not known, for the result. */
  readonly otherChannels: Set<string>
  /** Rows whose time did not rise: a clock that jumped back. */
  outOfOrder: number
  /** True once a pressure was declared as vacuum against the air of the day. */
  vacuumDeclared: boolean
}

const FIRST_ROWS = 4096

export function createColumnStore(source: number): ColumnStore {
  return {
    source,
    first: 0,
    end: 0,
    dropped: 0,
    timeS: new Float64Array(FIRST_ROWS),
    columns: new Array(slotCount).fill(undefined),
    slots: [],
    stepBySlot: new Float64Array(slotCount),
    otherChannels: new Set(),
    outOfOrder: 0,
    vacuumDeclared: false,
  }
}

/** A block's columns as the store takes them: declarations resolved once for each segment, not for each block. */
interface ColumnPlan {
  readonly slot: number
  readonly column: number
  readonly transform: UnitTransform
}

const plans = new WeakMap<object, ColumnPlan[]>()

function planOf(store: ColumnStore, block: SampleBlock): ColumnPlan[] {
  const known = plans.get(block.channels)
  if (known && known.length > 0 && known.every(({ slot }) => store.columns[slot] !== undefined)) return known
  const plan: ColumnPlan[] = []
  block.channels.forEach((channel, column) => {
    const slot = slotOf(channel.name)
    if (slot < 0) {
      if (store.otherChannels.size < 64) store.otherChannels.add(channel.name)
      return
    }
    const transform = unitTransform(channelNames[slot], channel.unit)
    store.stepBySlot[slot] = Math.abs(channel.scale * transform.scale)
    if (channel.unit === 'inHg_vacuum') store.vacuumDeclared = true
    addColumn(store, slot)
    plan.push({ slot, column, transform })
  })
  plans.set(block.channels, plan)
  return plan
}

function addColumn(store: ColumnStore, slot: number): void {
  if (store.columns[slot]) return
  store.columns[slot] = new Float32Array(store.timeS.length).fill(Number.NaN, 0, store.end)
  store.slots.push(slot)
  store.slots.sort((a, b) => a - b)
}

function grow(store: ColumnStore, rows: number): void {
  let length = store.timeS.length
  while (length < rows) length *= 2
  const timeS = new Float64Array(length)
  timeS.set(store.timeS)
  store.timeS = timeS
  for (const slot of store.slots) {
    const column = new Float32Array(length)
    column.set(store.columns[slot]!)
    store.columns[slot] = column
  }
}

/**
 * Appends a block, converting units. Rows whose time does not rise are left out and counted. Amortised O(1) a value, no
 * allocation but when the columns grow.
 */
export function appendBlock(store: ColumnStore, block: SampleBlock): void {
  const plan = planOf(store, block)
  const { count, timeS } = block
  if (store.end + count > store.timeS.length) grow(store, store.end + count)
  const startRow = store.end
  const target = store.timeS
  let lastS = startRow > store.first ? target[startRow - 1] : Number.NEGATIVE_INFINITY
  let row = startRow
  let isDense = true
  for (let i = 0; i < count; i++) {
    const t = timeS[i]
    if (t > lastS) {
      target[row++] = t
      lastS = t
    } else isDense = false
  }
  store.end = row
  store.outOfOrder += count - (row - startRow)
  fillOthers(store, plan, startRow)
  for (let p = 0; p < plan.length; p++) {
    const { slot, column, transform } = plan[p]
    const from = block.columns[column]
    const to = store.columns[slot]!
    const { scale, offset } = transform
    if (isDense) {
      for (let i = 0; i < count; i++) to[startRow + i] = from[i] * scale + offset
      continue
    }
    let at = startRow
    lastS = startRow > store.first ? target[startRow - 1] : Number.NEGATIVE_INFINITY
    for (let i = 0; i < count; i++) {
      if (!(timeS[i] > lastS)) continue
      to[at++] = from[i] * scale + offset
      lastS = timeS[i]
    }
  }
}

/** Channels that this block does not carry have no reading in its rows, which hold what was there before. */
function fillOthers(store: ColumnStore, plan: readonly ColumnPlan[], startRow: number): void {
  for (const slot of store.slots) {
    if (!plan.some((entry) => entry.slot === slot)) store.columns[slot]!.fill(Number.NaN, startRow, store.end)
  }
}

/** Forgets rows before a time. The arrays shrink back only when half of them is waste, so that the cost stays O(1) a row. */
export function dropBefore(store: ColumnStore, timeS: number): void {
  while (store.first < store.end && store.timeS[store.first] < timeS) store.first++
  if (store.first < FIRST_ROWS || store.first < store.timeS.length >> 1) return
  const { first, end } = store
  store.timeS.copyWithin(0, first, end)
  for (const slot of store.slots) {
    const column = store.columns[slot]!
    column.copyWithin(0, first, end)
  }
  store.dropped += first
  store.first = 0
  store.end = end - first
}
