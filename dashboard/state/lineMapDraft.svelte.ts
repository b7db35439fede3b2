import type { SampleBlock } from '../../core/contract/samples.ts'
import { boardChannels, splitChannelName } from '../../core/line/channels.ts'
import { createLineFieldReader, splitFields } from '../../core/line/lineFields.ts'
import { type LineMap, parseLineMap } from '../../core/line/lineMap.ts'
import { createLineMapReader, type LineMapCounts } from '../../core/line/lineMapReader.ts'
import { guessLineShape, type LineShape } from '../parts/link/guessLines.ts'

export type ClockFormat = NonNullable<LineMap['clock']>['format']

/** What the owner says one column is. */
export interface ColumnChoice {
  /** Empty: not used; `time`: the source's own clock; else a channel. */
  channel: string
  unit: string
  scale: number
  offset: number
  least: number | undefined
  most: number | undefined
}

const unused: ColumnChoice = {
  channel: '',
  unit: '1',
  scale: 1,
  offset: 0,
  least: undefined,
  most: undefined,
}

/** What a map makes of the lines at hand. */
export interface Trial {
  counts: LineMapCounts
  /** Newest value by channel, in its unit. */
  values: Readonly<Record<string, number>>
}

/** A line map being made from lines that are seen. */
export class LineMapDraft {
  #lines = $state.raw<readonly string[]>([])
  #shape = $state.raw<LineShape>(guessLineShape([]))
  #columns = $state.raw<readonly ColumnChoice[]>([])
  #clockFormat = $state.raw<ClockFormat>('seconds')
  #rateHz = $state.raw<number | undefined>(undefined)
  #isShapeChosen = false

  get shape(): LineShape {
    return this.#shape
  }
  get columns(): readonly ColumnChoice[] {
    return this.#columns
  }
  get clockFormat(): ClockFormat {
    return this.#clockFormat
  }
  get rateHz(): number | undefined {
    return this.#rateHz
  }

  /** The lines to try the map on. The shape is guessed anew until the owner has chosen one. */
  setLines(lines: readonly string[]): void {
    this.#lines = lines
    if (this.#isShapeChosen || this.#columns.some(({ channel }) => channel !== '')) return
    this.#take(guessLineShape(lines))
  }

  choose(part: Partial<LineShape>): void {
    this.#isShapeChosen = true
    const shape = { ...this.#shape, ...part }
    const rows = this.#lines.map((line) => this.#split(line, shape)).filter((row) => row.length > 0)
    this.#take({ ...shape, fields: Math.max(1, ...rows.map((row) => row.length)), names: [] })
  }
  setClockFormat(format: ClockFormat): void {
    this.#clockFormat = format
  }
  setRate(hz: number | undefined): void {
    this.#rateHz = hz
  }

  assign(index: number, part: Partial<ColumnChoice>): void {
    this.#columns = this.#columns.map((column, i) => {
      if (i !== index) return part.channel && part.channel === column.channel ? unused : column
      const next = { ...column, ...part }
      if (part.channel !== undefined && part.channel !== column.channel)
        next.unit =
          boardChannels[splitChannelName(part.channel).base] ?? (/^input_\d+$/.test(part.channel) ? 'V' : '1')
      return next
    })
  }

  /** Name of a column for a person. */
  nameOf(index: number): string {
    return this.#shape.names[index] ?? `field ${index + 1}`
  }

  /** Newest texts of a column, newest last. */
  textsOf(index: number, most = 3): string[] {
    return this.#lines
      .slice(-most - 2)
      .map((line) => this.#split(line, this.#shape)[index])
      .filter((text) => text !== undefined)
      .slice(-most)
  }

  /** The map as chosen, or what is wrong with it in words. */
  get map(): { map?: LineMap; problem?: string } {
    const { by, divider, decimal, comments, names } = this.#shape
    const fieldOf = (index: number) => (by === 'json' || names.length > 0 ? names[index] : index + 1)
    const used = this.#columns
      .map((column, index) => ({ column, index }))
      .filter(({ column }) => column.channel !== '')
    const clock = used.find(({ column }) => column.channel === 'time')
    const channels = used.filter(({ column }) => column.channel !== 'time')
    if (channels.length === 0) return { problem: 'say of at least one column what it is' }
    try {
      const map = parseLineMap({
        format: 'floatbowl-map 1',
        lines:
          by === 'json'
            ? { by }
            : { by, divider, ...(names.length > 0 ? {} : { fields: this.#shape.fields }) },
        comments,
        decimal,
        ...(clock ? { clock: { field: fieldOf(clock.index), format: this.#clockFormat } } : {}),
        ...(!clock && this.#rateHz !== undefined ? { rate_hz: this.#rateHz } : {}),
        channels: channels.map(({ column, index }) => ({
          field: fieldOf(index),
          channel: column.channel,
          unit: column.unit,
          ...(column.scale === 1 && column.offset === 0
            ? {}
            : { transfer: { type: 'linear', scale: column.scale, offset: column.offset } }),
          ...(column.least === undefined && column.most === undefined
            ? {}
            : { range: [column.least ?? -1e9, column.most ?? 1e9] }),
        })),
      })
      return { map }
    } catch (error) {
      return { problem: (error as Error).message }
    }
  }

  /** The map on the lines at hand. */
  get trial(): Trial | undefined {
    const { map } = this.map
    if (!map) return undefined
    const values: Record<string, number> = {}
    const reader = createLineMapReader(map, {
      emit: {
        block({ channels, columns, count }: SampleBlock) {
          channels.forEach(({ name }, i) => {
            values[name] = columns[i][count - 1]
          })
        },
      },
    })
    const { by, names, divider } = this.#shape
    const header = by === 'divider' ? names.join(divider) : ''
    // The header may have scrolled away: the reader is told it first.
    if (header && !this.#lines.includes(header)) reader.text(header, 0)
    for (const [i, line] of this.#lines.entries()) reader.text(line, i / 10)
    reader.flush()
    return { counts: reader.counts, values }
  }

  #take(shape: LineShape): void {
    this.#shape = shape
    const kept = this.#columns
    this.#columns = Array.from({ length: shape.fields }, (_, i) => kept[i] ?? unused)
  }

  #split(line: string, { by, divider, decimal, names, comments }: LineShape): string[] {
    if (line.trim() === '' || comments.some((mark) => line.startsWith(mark))) return []
    if (by === 'divider') return splitFields(line, divider)
    const read = createLineFieldReader(
      {
        format: 'floatbowl-map 1',
        lines: { by },
        comments,
        skip_lines: 0,
        skip_after_header: 0,
        decimal,
        missing: [],
        channels: [],
      },
      names,
    )
    const found = read(line)
    return found.kind === 'fields' ? [...found.values] : []
  }
}
