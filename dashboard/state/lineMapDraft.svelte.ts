import { type LineMap, parseLineMap } from '../../core/line/lineMap.ts'
import { createLineMapReader } from '../../core/line/lineMapReader.ts'
import { checkLinePattern } from '../../core/line/linePattern.ts'
import {
  type ColumnChoice,
  changedColumn,
  channelOfColumn,
  unusedColumn,
} from '../parts/link/columnChoice.ts'
import { guessLineShape, type LineShape } from '../parts/link/guessLines.ts'
import { type Trial, tryLineMap } from '../parts/link/lineMapTrial.ts'
import { lineTexts } from '../parts/link/lineTexts.ts'
import { patternGroups } from '../parts/link/patternGroups.ts'
import { shapeOfMap } from '../parts/link/shapeOfMap.ts'

export type ClockFormat = NonNullable<LineMap['clock']>['format']
export type LineChecksum = NonNullable<LineMap['checksum']>

/** Besides an empty field, what the map's own default takes as no reading. */
const usualMissing: readonly string[] = ['-', '--', 'NaN', 'nan', 'null', 'N/A']

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
      if (i === index) return changedColumn(column, part)
      // A channel is of one column only.
      return part.channel && part.channel === column.channel ? unusedColumn : column
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
      .map((line) => lineTexts(line, this.#shape, this.#checksum)[index])
      .filter((text) => text !== undefined)
      .slice(-most)
  }

  /** Takes a saved map as the draft. */
  load(map: LineMap): void {
    const { shape, columns } = shapeOfMap(map, guessLineShape(this.#lines))
    this.#isShapeChosen = true
    this.#checksum = map.checksum
    this.#missing = map.missing
    this.#skip = { lines: map.skip_lines, afterHeader: map.skip_after_header }
    this.#rateHz = map.rate_hz
    if (map.clock) this.#clockFormat = map.clock.format
    this.#shape = shape
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
        channels: channels.map(({ column, index }) =>
          channelOfColumn(column, this.#fieldOf(index), this.nameOf(index)),
        ),
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
    const { divider, names } = this.#shape
    return tryLineMap(map, this.#lines, this.#hasHeader ? names.join(divider) : '')
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

  #countFields(shape: LineShape): number {
    return Math.max(1, ...this.#lines.map((line) => lineTexts(line, shape, this.#checksum).length))
  }

  #take(shape: LineShape): void {
    this.#shape = shape
    const kept = this.#columns
    this.#columns = Array.from({ length: shape.fields }, (_, i) => kept[i] ?? unusedColumn)
  }
}
