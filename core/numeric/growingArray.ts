/** Least room, and by how much it grows: memory stays in proportion, and a value costs the same however many there are. */
const LEAST_ROOM = 1024
const GROWTH = 1.5

/** Doubles of a number not known beforehand. */
export class GrowingDoubles {
  count = 0
  #values: Float64Array

  /** @param expected so many will fit without growing */
  constructor(expected = 0) {
    this.#values = new Float64Array(Math.max(LEAST_ROOM, expected))
  }

  push(value: number): void {
    if (this.count === this.#values.length) {
      const larger = new Float64Array(Math.ceil(this.count * GROWTH))
      larger.set(this.#values)
      this.#values = larger
    }
    this.#values[this.count++] = value
  }

  /** View of what was pushed; it is no longer added to once more is. */
  values(): Float64Array {
    return this.#values.subarray(0, this.count)
  }
}

type WholeArray = Uint8Array | Int32Array

/** Whole numbers of a number not known beforehand, in an array of the type given. */
export class GrowingWhole {
  count = 0
  #values: WholeArray
  readonly #type: new (
    length: number,
  ) => WholeArray

  constructor(type: new (length: number) => WholeArray, expected = 0) {
    this.#type = type
    this.#values = new type(Math.max(LEAST_ROOM, expected))
  }

  push(value: number): void {
    if (this.count === this.#values.length) {
      const larger = new this.#type(Math.ceil(this.count * GROWTH))
      larger.set(this.#values)
      this.#values = larger
    }
    this.#values[this.count++] = value
  }

  /** View of what was pushed; it is no longer added to once more is. */
  values(): WholeArray {
    return this.#values.subarray(0, this.count)
  }
}
