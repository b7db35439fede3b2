import type { CarProfile } from '../../core/contract/car.ts'
import type { LiveReading } from '../../core/contract/live.ts'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { feed, type RunItem, sliceBlock } from './runItems.ts'
import type { ReplayReading } from './runMessages.ts'

/** Distance of the kept readings, s: a strip moves at least ten times a second. */
const keptStepS = 0.1
/** Readings of each single sample are kept around the moment that was asked for: so long before and after it, s. */
const fineBeforeS = 12
const fineAfterS = 4
/** The live page forgets what is older; so does its replay. */
const historyS = 60

/** Numbers of a reading that are kept one by one; the rest of it changes seldom and is kept once. */
const numberFields = [
  'timeS',
  'targetLambda',
  'bandRich',
  'bandLean',
  'stoichiometricRatio',
  'engineSpeedRpm',
  'throttlePct',
  'manifoldKpa',
  'barometerKpa',
  'load',
  'coolantC',
  'intakeAirC',
  'exhaustC',
  'supplyV',
  'roadSpeedMs',
  'oilKpa',
  'fuelKpa',
] as const satisfies readonly (keyof LiveReading)[]
const bankFields = ['lambda', 'lambdaUncertainty', 'warmingPct', 'least10s', 'most10s'] as const
const rowLength = numberFields.length + 2 * bankFields.length

/**
 * What the live page would have shown, moment by moment: the same pipeline, fed with the run from its start. A coarse series of readings is kept
 * for the whole run; single samples around a moment are worked out when they are asked for.
 */
export class ReplayReadings {
  readonly #items: readonly RunItem[]
  readonly #car: CarProfile | undefined
  #rows = new Float64Array(rowLength * 1024)
  #rests: LiveReading[] = []
  #restOf = new Uint32Array(1024)
  #count = 0
  #fine: ReplayReading[] = []

  constructor(items: readonly RunItem[], car: CarProfile | undefined) {
    this.#items = items
    this.#car = car
  }

  /** Runs the pipeline through the run; pauses after every few seconds of it so that requests get in between. Yields the time reached. */
  *build(): Generator<number> {
    const pipeline = createPipeline({ car: this.#car, historyS })
    let nextS = Number.NEGATIVE_INFINITY
    let pauseS = Number.NEGATIVE_INFINITY
    for (const item of this.#items) {
      if (item.kind !== 'block' || item.block.source !== 0) {
        feed(pipeline, item)
        continue
      }
      const { block } = item
      let from = 0
      while (from < block.count) {
        if (!(nextS > Number.NEGATIVE_INFINITY)) nextS = block.timeS[from]
        let to = from
        while (to < block.count && block.timeS[to] < nextS + keptStepS) to++
        if (to > from) pipeline.push(sliceBlock(block, from, to))
        from = to
        if (to < block.count) {
          this.#keep(pipeline.live(), block.timeS[to - 1] ?? nextS)
          // A gap in time is one step, not many empty ones.
          nextS = Math.max(nextS + keptStepS, block.timeS[to])
          if (nextS - pauseS > 20) {
            pauseS = nextS
            yield nextS
          }
        }
      }
    }
    this.#keep(pipeline.live(), nextS)
  }

  /** The newest kept reading at a time; undefined before the first, or as long as the series has not come so far. */
  at(timeS: number): ReplayReading | undefined {
    const fine = this.#fine
    if (fine.length > 0 && timeS >= fine[0].timeS && timeS <= fine[fine.length - 1].timeS)
      return fine[lastAt(fine.length, (i) => fine[i].timeS, timeS)]
    const index = lastAt(this.#count, (i) => this.#rows[i * rowLength], timeS)
    // The first moments have their reading a step later.
    const near = this.#count > 0 && this.#rows[0] - timeS < 1 ? 0 : -1
    if (index < 0 && near < 0) return undefined
    const reading = this.#read(Math.max(index, near))
    return { timeS: reading.timeS, reading }
  }

  /** The reading of the sample at or just before a time, exactly as fed sample by sample. */
  exactAt(timeS: number): ReplayReading | undefined {
    const fine = this.#fine
    if (fine.length === 0 || timeS < fine[0].timeS || timeS > fine[fine.length - 1].timeS) this.#refine(timeS)
    const found = lastAt(this.#fine.length, (i) => this.#fine[i].timeS, timeS + 1e-7)
    return found < 0 ? undefined : this.#fine[found]
  }

  #refine(timeS: number): void {
    const pipeline = createPipeline({ car: this.#car, historyS })
    const fine: ReplayReading[] = []
    for (const item of this.#items) {
      if (item.kind !== 'block') {
        if (item.kind === 'record' && item.timeS > timeS + fineAfterS) break
        feed(pipeline, item)
        continue
      }
      const { block } = item
      if (block.timeS[0] > timeS + fineAfterS) break
      let from = 0
      while (from < block.count && block.timeS[from] < timeS - fineBeforeS) from++
      if (from > 0) pipeline.push(sliceBlock(block, 0, from))
      for (let i = from; i < block.count && block.timeS[i] <= timeS + fineAfterS; i++) {
        pipeline.push(sliceBlock(block, i, i + 1))
        if (block.source === 0) fine.push({ timeS: block.timeS[i], reading: pipeline.live() })
      }
    }
    this.#fine = fine
  }

  #keep(reading: LiveReading, timeS: number): void {
    if (this.#count > 0 && timeS <= this.#rows[(this.#count - 1) * rowLength]) return
    if ((this.#count + 1) * rowLength > this.#rows.length) {
      const rows = new Float64Array(this.#rows.length * 2)
      rows.set(this.#rows)
      this.#rows = rows
      const restOf = new Uint32Array(this.#restOf.length * 2)
      restOf.set(this.#restOf)
      this.#restOf = restOf
    }
    const row = this.#count * rowLength
    for (let i = 0; i < numberFields.length; i++) this.#rows[row + i] = reading[numberFields[i]]
    this.#rows[row] = timeS
    for (let b = 0; b < 2; b++) {
      for (let i = 0; i < bankFields.length; i++)
        this.#rows[row + numberFields.length + b * bankFields.length + i] =
          reading.banks[b]?.[bankFields[i]] ?? Number.NaN
    }
    const last = this.#rests[this.#rests.length - 1]
    if (!last || !hasSameRest(last, reading)) this.#rests.push(reading)
    this.#restOf[this.#count] = this.#rests.length - 1
    this.#count++
  }

  #read(index: number): LiveReading {
    const rest = this.#rests[this.#restOf[index]]
    const row = index * rowLength
    const reading: LiveReading = { ...rest, banks: rest.banks.map((bank) => ({ ...bank })) }
    for (let i = 0; i < numberFields.length; i++) reading[numberFields[i]] = this.#rows[row + i]
    for (let b = 0; b < reading.banks.length; b++) {
      for (let i = 0; i < bankFields.length; i++)
        reading.banks[b][bankFields[i]] = this.#rows[row + numberFields.length + b * bankFields.length + i]
    }
    return reading
  }
}

/** Whether what is not a kept number is the same in both, coverage to the second. */
function hasSameRest(a: LiveReading, b: LiveReading): boolean {
  if (
    a.state !== b.state ||
    a.steady !== b.steady ||
    a.steadyWhyNot !== b.steadyWhyNot ||
    a.banks.length !== b.banks.length ||
    a.alarms.length !== b.alarms.length ||
    a.coverage.length !== b.coverage.length
  )
    return false
  for (let i = 0; i < a.banks.length; i++) {
    if (a.banks[i].untrusted !== b.banks[i].untrusted || a.banks[i].faultCode !== b.banks[i].faultCode)
      return false
  }
  for (let i = 0; i < a.alarms.length; i++) {
    if (a.alarms[i].code !== b.alarms[i].code || a.alarms[i].worst !== b.alarms[i].worst) return false
  }
  for (let i = 0; i < a.coverage.length; i++) {
    if (Math.floor(a.coverage[i].have) !== Math.floor(b.coverage[i].have)) return false
  }
  return (
    a.warmUp?.stalls === b.warmUp?.stalls &&
    a.warmUp?.selfIdles === b.warmUp?.selfIdles &&
    (a.warmUp === undefined) === (b.warmUp === undefined)
  )
}

/** Index of the last entry whose time is at or before `timeS`; −1 when there is none. */
function lastAt(count: number, timeOf: (index: number) => number, timeS: number): number {
  let low = 0
  let high = count
  while (low < high) {
    const middle = (low + high) >>> 1
    if (timeOf(middle) <= timeS) low = middle + 1
    else high = middle
  }
  return low - 1
}
