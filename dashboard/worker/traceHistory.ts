import type { BankReading, LiveReading } from '../../core/contract/live.ts'
import type { SampleBlock } from '../../core/contract/samples.ts'
import { ColumnHistory } from './columnHistory.ts'
import type { TraceAnswer, TraceChannel, TraceRequest } from './messages.ts'
import { reduceColumn, reducedTimes } from './reduceColumn.ts'

/** Samples kept for each source: 20 minutes at 100 Hz; memory for 20 channels about 20 MB. */
const mostKept = 120_000
/** Channels drawn at most, over all sources: a board that invents names must not grow this. */
const mostChannels = 64

const derivedUnits: Readonly<Record<string, string>> = {
  'mixture λ': 'lambda',
  'mixture λ, bank 2': 'lambda',
  'target λ': 'lambda',
  load: '1',
}

/** What the trace page can draw: each source on its own time base, and what the pipeline worked out, on a third. */
export class TraceHistory {
  readonly #sources = new Map<number, ColumnHistory>()
  readonly #derived = new ColumnHistory(mostKept)
  #channels = new Map<string, TraceChannel & { source: number; column: string }>()

  get channels(): TraceChannel[] {
    return [...this.#channels.values()].map(({ name, unit, derived }) => ({ name, unit, derived }))
  }

  /** Keeps a block, shifted by `offsetS` onto the trace's clock. True when a channel is new. */
  push(block: SampleBlock, offsetS: number): boolean {
    let history = this.#sources.get(block.source)
    if (!history) {
      history = new ColumnHistory(mostKept)
      this.#sources.set(block.source, history)
    }
    let isNew = false
    const { count, timeS } = block
    const start = history.append(count)
    const times = history.timeS
    for (let i = 0; i < count; i++) times[start + i] = timeS[i] + offsetS
    for (let c = 0; c < block.columns.length; c++) {
      const { name, unit } = block.channels[c]
      const shown = block.source === 0 ? name : `${name} (source ${block.source})`
      if (!this.#channels.has(shown)) {
        if (this.#channels.size >= mostChannels) continue
        this.#channels.set(shown, { name: shown, unit, derived: false, source: block.source, column: name })
        isNew = true
      }
      const target = history.ensure(name)
      const values = block.columns[c]
      for (let i = 0; i < count; i++) target[start + i] = values[i]
    }
    return isNew
  }

  /** Keeps what the pipeline says of this moment. True when a channel is new. */
  pushReading(reading: LiveReading, offsetS: number): boolean {
    const history = this.#derived
    const timeS = reading.timeS + offsetS
    if (Number.isNaN(timeS) || (history.count > 0 && timeS <= history.timeS[history.count - 1])) return false
    const start = history.append(1)
    history.timeS[start] = timeS
    let isNew = false
    const keep = (name: string, value: number, isDue = !Number.isNaN(value)) => {
      if (!this.#channels.has(name)) {
        if (!isDue) return
        const unit = derivedUnits[name]
        this.#channels.set(name, { name, unit, derived: true, source: -1, column: name })
        isNew = true
      }
      history.ensure(name)[start] = value
    }
    // The mixture has its strip as soon as there is a sensor: while it warms the strip is empty, and says so.
    const keepBank = (name: string, bank: BankReading | undefined) =>
      keep(name, bank?.lambda ?? Number.NaN, bank !== undefined && bank.untrusted !== 'no_sensor')
    keepBank('mixture λ', reading.banks[0])
    keepBank('mixture λ, bank 2', reading.banks[1])
    keep('target λ', reading.targetLambda)
    keep('load', reading.load)
    return isNew
  }

  answer(request: TraceRequest): TraceAnswer {
    const { fromS, toS, columnCount } = request
    const channels = request.channels.filter((name) => this.#channels.has(name))
    return {
      id: request.id,
      channels,
      timeS: reducedTimes(fromS, toS, columnCount),
      values: channels.map((name) => {
        const { source, column } = this.#channels.get(name)!
        const history = source < 0 ? this.#derived : this.#sources.get(source)!
        return reduceColumn(history, column, fromS, toS, columnCount)
      }),
      ...this.#extent(),
    }
  }

  #extent(): { oldestS: number; newestS: number } {
    let oldestS = Number.POSITIVE_INFINITY
    let newestS = Number.NEGATIVE_INFINITY
    for (const history of [...this.#sources.values(), this.#derived]) {
      if (history.count === 0) continue
      oldestS = Math.min(oldestS, history.timeS[0])
      newestS = Math.max(newestS, history.timeS[history.count - 1])
    }
    return { oldestS, newestS }
  }
}
