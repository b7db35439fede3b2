import type { ChannelDeclaration } from '../contract/samples.ts'
import type { ChannelLine } from './boardLine.ts'

/** The channels a board has declared so far, by the position of their value in a sample. */
export class ChannelTable {
  #byIndex: (ChannelDeclaration | undefined)[] = []
  /** Fields from 0 on that are declared without a hole. */
  #leading = 0

  /** True when a sample of so many fields can be decoded. */
  covers(fieldCount: number): boolean {
    return fieldCount <= this.#leading
  }

  get isEmpty(): boolean {
    return this.#byIndex.length === 0
  }

  /** Takes a declaration; true when it is new or differs from what was declared for that position. */
  declare(line: ChannelLine): boolean {
    const { index, name, unit, scale, offset } = line
    const known = this.#byIndex[index]
    if (
      known?.name === name &&
      known.unit === unit &&
      Object.is(known.scale, scale) &&
      Object.is(known.offset, offset)
    ) {
      return false
    }
    this.#set({ index, name, unit, scale, offset })
    return true
  }

  /** Declares what is still missing below `fieldCount` as plain numbers named after their position. */
  fill(fieldCount: number): void {
    for (let index = 0; index < fieldCount; index++) {
      if (this.#byIndex[index] === undefined) {
        this.#set({ index, name: `channel_${index}`, unit: '1', scale: 1, offset: 0 })
      }
    }
  }

  /** Declared channels by position. */
  list(): ChannelDeclaration[] {
    return this.#byIndex.filter((channel) => channel !== undefined)
  }

  clear(): void {
    this.#byIndex = []
    this.#leading = 0
  }

  #set(channel: ChannelDeclaration): void {
    this.#byIndex[channel.index] = channel
    while (this.#byIndex[this.#leading] !== undefined) this.#leading++
  }
}
