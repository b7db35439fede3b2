import type { SampleBlock } from '../../core/contract/samples.ts'
import type { GpsFix } from '../../core/line/gpsDecoder.ts'
import { slotOf } from '../../core/pipeline/channels.ts'
import type { ExportColumn } from './exportTable.ts'

const firstLength = 4096
/** Names beyond this are not kept: a board that invents names for ever must not fill the memory. */
const mostColumns = 100

/** Readings of one channel as they came, with their own times. */
interface Readings {
  unit: string
  source: number
  count: number
  timeS: Float64Array
  values: Float64Array
}

/** Keeps what the pipeline has no place for: channels under names of a board's own, and positions. */
export class OtherColumns {
  readonly #byName = new Map<string, Readings>()
  readonly fixes: GpsFix[] = []

  block(block: SampleBlock): void {
    const { channels, count, timeS, columns, source } = block
    for (let c = 0; c < channels.length; c++) {
      const { name, unit } = channels[c]
      if (slotOf(name) >= 0) continue
      const readings = this.#readings(name, unit, source)
      // One name of two sources would mix two things: the first one keeps it.
      if (readings === undefined || readings.source !== source) continue
      for (let i = 0; i < count; i++) add(readings, timeS[i], columns[c][i])
    }
  }

  fix(fix: GpsFix): void {
    this.fixes.push(fix)
  }

  /** A position that came as ordinary channels, e.g. from an imported log. */
  positions(): GpsFix[] {
    if (this.fixes.length > 0) return this.fixes
    const latitude = this.#byName.get('latitude')
    const longitude = this.#byName.get('longitude')
    if (!latitude || !longitude || latitude.source !== longitude.source) return []
    const altitude = this.#byName.get('altitude')
    const found: GpsFix[] = []
    for (let i = 0; i < latitude.count; i++) {
      const fix: GpsFix = {
        timeS: latitude.timeS[i],
        utcMs: Number.NaN,
        latitudeDeg: latitude.values[i],
        longitudeDeg: longitude.values[i],
        altitudeM: altitude?.timeS[i] === latitude.timeS[i] ? altitude.values[i] : Number.NaN,
        speedMs: Number.NaN,
        courseDeg: Number.NaN,
      }
      if (Math.abs(fix.latitudeDeg) <= 90 && Math.abs(fix.longitudeDeg) <= 180) found.push(fix)
    }
    return found
  }

  /** Columns over the rows' times: at each row the newest reading since the row before, NaN without one. */
  columns(rowS: Float64Array): ExportColumn[] {
    const columns: ExportColumn[] = []
    for (const [name, { unit, count, timeS, values }] of this.#byName) {
      columns.push({
        kind: 'number',
        name,
        unit,
        derived: false,
        // They were single precision as they came, and are written as that.
        values: Float32Array.from(alignTo(rowS, timeS, values, count)),
      })
    }
    for (const { name, unit, of } of this.fixes.length > 0 ? positionColumns : []) {
      const timeS = Float64Array.from(this.fixes, (fix) => fix.timeS)
      const values = alignTo(rowS, timeS, Float64Array.from(this.fixes, of), timeS.length)
      const at = columns.findIndex((column) => column.name === name)
      const column: ExportColumn = { kind: 'number', name, unit, derived: false, values }
      if (at < 0) columns.push(column)
      else columns[at] = column
    }
    return columns
  }

  #readings(name: string, unit: string, source: number): Readings | undefined {
    const known = this.#byName.get(name)
    if (known || this.#byName.size >= mostColumns) return known
    const made = {
      unit,
      source,
      count: 0,
      timeS: new Float64Array(firstLength),
      values: new Float64Array(firstLength),
    }
    this.#byName.set(name, made)
    return made
  }
}

/** Columns of single precision would place a car within half a metre only. */
const positionColumns: readonly { name: string; unit: string; of: (fix: GpsFix) => number }[] = [
  { name: 'latitude', unit: 'deg', of: (fix) => fix.latitudeDeg },
  { name: 'longitude', unit: 'deg', of: (fix) => fix.longitudeDeg },
  { name: 'altitude', unit: 'm', of: (fix) => fix.altitudeM },
  { name: 'course', unit: 'deg', of: (fix) => fix.courseDeg },
]

function add(readings: Readings, timeS: number, value: number): void {
  if (readings.count === readings.timeS.length) {
    readings.timeS = doubled(readings.timeS)
    readings.values = doubled(readings.values)
  }
  readings.timeS[readings.count] = timeS
  readings.values[readings.count] = value
  readings.count++
}

function doubled(column: Float64Array): Float64Array {
  const larger = new Float64Array(column.length * 2)
  larger.set(column)
  return larger
}

function alignTo(rowS: Float64Array, timeS: Float64Array, values: Float64Array, count: number): Float64Array {
  const target = new Float64Array(rowS.length).fill(Number.NaN)
  let next = 0
  for (let row = 0; row < rowS.length; row++) {
    for (; next < count && timeS[next] <= rowS[row]; next++) {
      if (!Number.isNaN(values[next])) target[row] = values[next]
    }
  }
  return target
}
