import type { SampleBlock } from '../../core/contract/samples.ts'
import { boardChannels, splitChannelName } from '../../core/line/channels.ts'
import { createLineFieldReader, splitFields, stripLineChecksum } from '../../core/line/lineFields.ts'
import { type LineMap, parseLineMap } from '../../core/line/lineMap.ts'
import { createLineMapReader, type LineMapCounts } from '../../core/line/lineMapReader.ts'
import { checkLinePattern } from '../../core/line/linePattern.ts'
import {
  type ColumnTransfer,
  fromLineTransfer,
  plainTransfer,
  toLineTransfer,
} from '../parts/link/columnTransfer.ts'
import { guessLineShape, type LineShape } from '../parts/link/guessLines.ts'
import { patternGroups } from '../parts/link/patternGroups.ts'

export type ClockFormat = NonNullable<LineMap['clock']>['format']
export type LineChecksum = NonNullable<LineMap['checksum']>

/** What the owner says one column is. */
export interface ColumnChoice {
  /** Empty: not used; `time`: the source's own clock; else a channel. */
  channel: string
  unit: string
  transfer: ColumnTransfer
  least: number | undefined
  most: number | undefined
}

const unused: ColumnChoice = {
  channel: '',
  unit: '1',
  transfer: plainTransfer,
  least: undefined,
  most: undefined,
}

/** An open end of a sanity range. */
const farEnd = 1e9
/** Besides an empty field, what the map's own default takes as no reading. */
const usualMissing: readonly string[] = ['-', '--', 'NaN', 'nan', 'null', 'N/A']

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
  #checksum = $state.raw<LineChecksum | undefined>(undefined)
  #missing = $state.raw<readonly string[]>(usualMissing)
  #skip = $state.raw({ lines: 0, afterHeader: 0 })
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
  get checksum(): LineChecksum | undefined {
    return this.#checksum
  }
  get missing(): readonly string[] {
    return this.#missing
  }
  get skipLines(): number {
    return this.#skip.lines
  }
  get skipAfterHeader(): number {
    return this.#skip.afterHeader
  }
  /** What is wrong with the pattern; undefined for a sound one and where there is none. */
  get patternProblem(): string | undefined {
    const { by, pattern } = this.#shape
    return by === 'pattern' && pattern !== '' ? checkLinePattern(pattern) : undefined
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
    if (shape.by === 'pattern') {
      const names = patternGroups(shape.pattern)
      this.#take({ ...shape, names, fields: names.length })
    } else if (part.by === undefined && part.divider === undefined) {
      // The columns are the same; only how their texts are read has changed.
      this.#take(shape)
    } else if (shape.by === 'json') this.#take({ ...guessLineShape(this.#lines), ...part })
    else this.#take({ ...shape, fields: this.#countFields(shape), names: [] })
  }
  setClockFormat(format: ClockFormat): void {
    this.#clockFormat = format
  }
  setRate(hz: number | undefined): void {
    this.#rateHz = hz
  }
  setMissing(missing: readonly string[]): void {
    this.#missing = missing
  }
  setSkip(part: { lines?: number; afterHeader?: number }): void {
    this.#skip = { ...this.#skip, ...part }
  }
  setChecksum(part: Partial<LineChecksum> | undefined): void {
    this.#checksum = part && { rule: 'xor', separator: '*', start: '', ...this.#checksum, ...part }
    if (this.#shape.by === 'divider') this.#take({ ...this.#shape, fields: this.#countFields(this.#shape) })
  }

  assign(index: number, part: Partial<ColumnChoice>): void {
    this.#columns = this.#columns.map((column, i) => {
      if (i !== index) return part.channel && part.channel === column.channel ? unused : column
      const next = { ...column, ...part }
      if (part.channel !== undefined && part.channel !== column.channel)
        next.unit =
          boardChannels[splitChannelName(part.channel).base] ?? (/^input_\d+$/.test(part.channel) ? 'V' : '1')
      if (next.transfer.kind === 'thermistor' && next.unit !== 'C') next.transfer = plainTransfer
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

  /** Takes a saved map as the draft. */
  load(map: LineMap): void {
    const { lines, clock, checksum } = map
    const texts = this.#lines
    const first = guessLineShape(texts)
    const fieldsOf = [...map.channels.map(({ field }) => field), ...(clock ? [clock.field] : [])]
    const names =
      lines.by === 'pattern'
        ? patternGroups(lines.pattern)
        : fieldsOf.every((field) => typeof field === 'string')
          ? [...new Set([...(first.by === lines.by ? first.names : []), ...(fieldsOf as string[])])]
          : []
    const most = Math.max(1, ...fieldsOf.map((field) => (typeof field === 'number' ? field : 0)))
    const fields =
      names.length > 0 ? names.length : Math.max(most, lines.by === 'divider' ? (lines.fields ?? 0) : 0)
    this.#isShapeChosen = true
    this.#checksum = checksum
    this.#missing = map.missing
    this.#skip = { lines: map.skip_lines, afterHeader: map.skip_after_header }
    this.#rateHz = map.rate_hz
    if (clock) this.#clockFormat = clock.format
    this.#shape = {
      by: lines.by,
      divider: lines.by === 'divider' ? lines.divider : ',',
      pattern: lines.by === 'pattern' ? lines.pattern : '',
      decimal: map.decimal,
      comments: [...map.comments],
      names,
      fields,
    }
    const placeOf = (field: string | number) => (typeof field === 'number' ? field - 1 : names.indexOf(field))
    const columns = Array.from({ length: fields }, () => unused)
    for (const { field, channel, unit, transfer, range } of map.channels)
      columns[placeOf(field)] = {
        channel,
        unit,
        transfer: fromLineTransfer(transfer),
        least: range && range[0] > -farEnd ? range[0] : undefined,
        most: range && range[1] < farEnd ? range[1] : undefined,
      }
    if (clock) columns[placeOf(clock.field)] = { ...unused, channel: 'time' }
    this.#columns = columns
  }

  /** The map as chosen, or what is wrong with it in words. */
  get map(): { map?: LineMap; problem?: string } {
    const used = this.#columns
      .map((column, index) => ({ column, index }))
      .filter(({ column }) => column.channel !== '')
    const clock = used.find(({ column }) => column.channel === 'time')
    const channels = used.filter(({ column }) => column.channel !== 'time')
    if (this.patternProblem) return { problem: this.patternProblem }
    if (channels.length === 0) return { problem: 'say of at least one column what it is' }
    try {
      const map = parseLineMap({
        format: 'floatbowl-map 1',
        lines: this.#division(),
        comments: this.#shape.comments,
        decimal: this.#shape.decimal,
        missing: this.#missing,
        skip_lines: this.#skip.lines,
        skip_after_header: this.#skip.afterHeader,
        ...(clock ? { clock: { field: this.#fieldOf(clock.index), format: this.#clockFormat } } : {}),
        ...(!clock && this.#rateHz !== undefined ? { rate_hz: this.#rateHz } : {}),
        ...(this.#checksum && { checksum: this.#checksum }),
        channels: channels.map(({ column, index }) => this.#channelOf(column, index)),
      })
      // Transfers that cannot be are found when they are made.
      createLineMapReader(map, { emit: { block() {} } })
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
    // Lines at hand are no file's beginning.
    const reader = createLineMapReader(
      { ...map, skip_lines: 0 },
      {
        emit: {
          block({ channels, columns, count }: SampleBlock) {
            channels.forEach(({ name }, i) => {
              values[name] = columns[i][count - 1]
            })
          },
        },
      },
    )
    const { divider, names } = this.#shape
    const header = this.#hasHeader ? names.join(divider) : ''
    // The header may have scrolled away: the reader is told it first, without what follows it.
    if (header && !this.#lines.includes(header)) {
      reader.text(header, 0)
      for (let i = 0; i < map.skip_after_header; i++) reader.text('', 0)
    }
    for (const [i, line] of this.#lines.entries()) reader.text(line, i / 10)
    reader.flush()
    return { counts: reader.counts, values }
  }

  /** Columns are found by the names of a header; with checksums a header without one would never count, so positions are used. */
  get #hasHeader(): boolean {
    return this.#shape.by === 'divider' && this.#shape.names.length > 0 && !this.#checksum
  }

  #division(): LineMap['lines'] {
    const { by, divider, pattern, fields } = this.#shape
    if (by === 'json') return { by }
    if (by === 'pattern') return { by, pattern }
    return { by, divider, ...(this.#hasHeader ? {} : { fields }) }
  }

  #fieldOf(index: number): string | number {
    const { by, names } = this.#shape
    if (by === 'json' || this.#hasHeader) return names[index]
    // A group without a name goes by its number.
    return by === 'pattern' && !/^group \d+$/.test(names[index]) ? names[index] : index + 1
  }

  #channelOf({ channel, unit, transfer, least, most }: ColumnChoice, index: number) {
    let made: ReturnType<typeof toLineTransfer>
    try {
      made = toLineTransfer(transfer)
    } catch (error) {
      throw new RangeError(`${this.nameOf(index)}: ${(error as Error).message}`)
    }
    return {
      field: this.#fieldOf(index),
      channel,
      unit,
      ...(made && { transfer: made }),
      ...(least === undefined && most === undefined ? {} : { range: [least ?? -farEnd, most ?? farEnd] }),
    }
  }

  #countFields(shape: LineShape): number {
    return Math.max(1, ...this.#lines.map((line) => this.#split(line, shape).length))
  }

  #take(shape: LineShape): void {
    this.#shape = shape
    const kept = this.#columns
    this.#columns = Array.from({ length: shape.fields }, (_, i) => kept[i] ?? unused)
  }

  #split(whole: string, { by, divider, pattern, decimal, names, comments }: LineShape): string[] {
    if (whole.trim() === '' || comments.some((mark) => whole.startsWith(mark))) return []
    const line = this.#checksum ? (stripLineChecksum(whole, this.#checksum) ?? '') : whole
    if (line === '') return []
    if (by === 'divider') return splitFields(line, divider)
    if (by === 'pattern' && (pattern === '' || checkLinePattern(pattern) !== undefined)) return []
    const wanted = by === 'json' ? names : names.map((_, i) => i + 1)
    const read = createLineFieldReader(
      {
        format: 'floatbowl-map 1',
        lines: by === 'json' ? { by } : { by, pattern },
        comments,
        skip_lines: 0,
        skip_after_header: 0,
        decimal,
        missing: [],
        channels: [],
      },
      wanted,
    )
    const found = read(line)
    return found.kind === 'fields' ? [...found.values] : []
  }
}
