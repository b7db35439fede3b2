import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, test } from 'vitest'
import { importLog } from '../../bridge/import/importLog.ts'
import { scanCapture } from '../../core/capture/scanCapture.ts'
import { createGpsDecoder, type GpsFix } from '../../core/line/gpsDecoder.ts'
import { parseLineMap } from '../../core/line/lineMap.ts'
import { guessLineShape } from '../../dashboard/parts/link/guessLines.ts'
import { testDirectory } from '../support/runFiles.ts'
import { labelOf, referenceSet } from './referenceSet.ts'

interface Sentence {
  sentence: string
  lat_deg?: number
  lon_deg?: number
  altitude_m?: number
  speed_m_s?: number
  speed_kn?: number
  course_deg?: number
  date?: string
}
const valid = referenceSet<Sentence>('serial-data', 'nmea-valid')
const invalid = referenceSet<Sentence>('serial-data', 'nmea-invalid')

function decode(sentences: readonly string[]) {
  const fixes: GpsFix[] = []
  const decoder = createGpsDecoder({ fix: (fix) => fixes.push(fix) })
  // A second apart, as receivers send: a height is held so long.
  sentences.forEach((sentence, i) => {
    decoder.push(sentence, i)
  })
  return { fixes, counts: decoder.counts }
}
const kindOf = (sentence: string) => sentence.slice(3, 6)
const ofKind = (kind: string) => valid.rows.filter(({ sentence }) => kindOf(sentence) === kind)

describe('sentences of public logs', () => {
  test(`hold their checksums: ${labelOf(valid)}`, () => {
    const { counts } = decode(valid.rows.map(({ sentence }) => sentence))
    expect(counts).toMatchObject({ sentences: valid.rows.length, badChecksum: 0 })
  })

  test.each(ofKind('RMC'))(
    'give speed, course and date: $sentence',
    ({ sentence, speed_m_s, course_deg, date }) => {
      const { fixes } = decode([sentence])
      expect(fixes).toHaveLength(1)
      if (speed_m_s !== undefined) expect(fixes[0].speedMs).toBeCloseTo(speed_m_s, 5)
      if (course_deg !== undefined) expect(fixes[0].courseDeg).toBeCloseTo(course_deg, 6)
      if (date !== undefined) expect(new Date(fixes[0].utcMs).toISOString().slice(0, 10)).toBe(date)
    },
  )

  test.each(ofKind('GGA'))(
    'give place and height: $sentence',
    ({ sentence, lat_deg, lon_deg, altitude_m }) => {
      const { fixes } = decode([sentence, ofKind('VTG')[0].sentence])
      expect(fixes).toHaveLength(1)
      if (lat_deg !== undefined) expect(fixes[0].latitudeDeg).toBeCloseTo(lat_deg, 7)
      if (lon_deg !== undefined) expect(fixes[0].longitudeDeg).toBeCloseTo(lon_deg, 7)
      if (altitude_m !== undefined) expect(fixes[0].altitudeM).toBe(altitude_m)
    },
  )

  test.each(ofKind('VTG'))('give speed beside a place: $sentence', ({ sentence, speed_kn }) => {
    const { fixes } = decode([ofKind('GGA')[0].sentence, sentence])
    expect(fixes).toHaveLength(1)
    if (speed_kn !== undefined) expect(fixes[0].speedMs).toBeCloseTo((speed_kn * 1852) / 3600, 5)
  })

  test.each(invalid.rows)('are refused when damaged: $sentence', ({ sentence }) => {
    const { fixes, counts } = decode([sentence])
    expect(fixes).toEqual([])
    expect(counts).toMatchObject({ sentences: 1, badChecksum: 1 })
  })
})

const logs = new URL('./data/logs/', import.meta.url).pathname
const hourly = readFileSync(join(logs, 'hourly-normals.csv'), 'utf8')

describe('a log that we did not make', () => {
  const map = parseLineMap({
    format: 'floatbowl-map 1',
    lines: { by: 'divider', divider: ',' },
    clock: { field: 'date', format: 'iso8601' },
    channels: [
      { field: 'pressure', channel: 'barometer', unit: 'mbar', range: [900, 1100] },
      { field: 'temperature', channel: 'intake_air', unit: 'C' },
      { field: 'wind', channel: 'wind', unit: 'm/s' },
    ],
  })

  test('is taken apart by itself into named columns', () => {
    expect(guessLineShape(hourly.split('\n').slice(0, 40))).toMatchObject({
      by: 'divider',
      divider: ',',
      decimal: '.',
      names: ['date', 'pressure', 'temperature', 'wind'],
      fields: 4,
    })
  })

  test('becomes a run that holds its very figures at its very times', async () => {
    const out = join(testDirectory(), 'hourly.capture')
    const report = await importLog(join(logs, 'hourly-normals.csv'), map, out, { app: 'test' })
    expect(report).toMatchObject({
      samples: 240,
      unfit: 0,
      start_from: 'clock',
      start: '2010-01-01T01:00:00.000Z',
    })
    const rows = hourly
      .trimEnd()
      .split('\n')
      .slice(1)
      .map((line) => line.split(',').slice(1).map(Number))
    const [segment] = scanCapture(readFileSync(out)).segments
    expect(segment.channels.map(({ name, unit }) => [name, unit])).toEqual([
      ['barometer', 'mbar'],
      ['intake_air', 'C'],
      ['wind', 'm/s'],
    ])
    const columns = segment.columns.map((column) => [...column])
    rows.forEach((row, i) => {
      expect(segment.timeS[i]).toBeCloseTo(3600 * i, 5)
      row.forEach((value, k) => {
        expect(columns[k][i]).toBe(Math.fround(value))
      })
    })
  })

  test('with days that have no time of day is refused, with its first line', async () => {
    const daily = parseLineMap({
      ...map,
      channels: [{ field: 'temp_max', channel: 'intake_air', unit: 'C' }],
    })
    await expect(
      importLog(join(logs, 'daily-weather.csv'), daily, join(testDirectory(), 'x.capture'), { app: 'test' }),
    ).rejects.toThrow(
      'line 2 "Seattle,2012-01-01,0.0,12.8,5.0,4.7,drizzle": "2012-01-01" is no time of the format iso8601',
    )
  })

  test('whose column is a text says which', async () => {
    const text = parseLineMap({
      format: 'floatbowl-map 1',
      lines: { by: 'divider', divider: ',' },
      rate_hz: 1,
      channels: [{ field: 'weather', channel: 'intake_air', unit: 'C' }],
    })
    await expect(
      importLog(join(logs, 'daily-weather.csv'), text, join(testDirectory(), 'y.capture'), { app: 'test' }),
    ).rejects.toThrow('field "weather" is no number: "drizzle"')
  })
})
