import { join } from 'node:path'
import * as fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { csvChunks, csvLineMap } from '../../bridge/export/csv.ts'
import { readExportTable, runName } from '../../bridge/export/exportTable.ts'
import { gpxChunks } from '../../bridge/export/gpx.ts'
import { float32Text, isoMicros, utcMicros } from '../../bridge/export/numberText.ts'
import { seasonPath, uniqueNames } from '../../bridge/export/season.ts'
import { reduceRate, selectColumns } from '../../bridge/export/selectColumns.ts'
import { parseLineMap } from '../../core/line/lineMap.ts'
import { testDirectory, tinyCapture } from '../support/runFiles.ts'

const directory = testDirectory()
const start = { type: 'start' as const, at: '2026-05-17T08:12:03.250Z', car: 'marigold' }

describe('numbers and times of exports', () => {
  it('float32Text reads back to the same single-precision number, whatever it is', () => {
    void fc.assert(
      fc.property(fc.float({ noNaN: true, noDefaultInfinity: true }), (value) => {
        expect(Math.fround(Number(float32Text(value)))).toBe(value + 0)
      }),
    )
  })

  it.each([
    [1.234, '1.234'],
    [-0.003, '-0.003'],
    [101.325, '101.325'],
    [850, '850'],
    [-0, '0'],
    [Number.NaN, ''],
    [Number.POSITIVE_INFINITY, ''],
  ])('float32Text writes %s with no digit too many', (value, text) => {
    expect(float32Text(Math.fround(value))).toBe(text)
  })

  it('isoMicros keeps microseconds and carries them over', () => {
    const startMs = Date.parse('2026-05-17T08:12:03.250Z')
    expect(isoMicros(utcMicros(startMs, 0.000001))).toBe('2026-05-17T08:12:03.250001Z')
    expect(isoMicros(utcMicros(startMs, 0.75))).toBe('2026-05-17T08:12:04.000000Z')
    expect(isoMicros(utcMicros(startMs, -3.5))).toBe('2026-05-17T08:11:59.750000Z')
  })
})

describe('a run as a table', () => {
  const channels = [
    { name: 'lambda', unit: '1', scale: 0.001 },
    { name: 'coolant', unit: 'F', scale: 0.1 },
    { name: 'boost, odd "name"', unit: 'bar', scale: 0.01 },
  ]
  const rows = [
    [950, 1850, 12],
    [960, 1851, Number.NaN],
    [Number.NaN, 1852, 14],
    [1010, 1853, 15],
  ]
  const path = tinyCapture(join(directory, '20260517T081203Z.capture'), channels, rows, [start])

  it('has recorded channels in inside units, unknown ones in their own, then derived ones', async () => {
    const { columns, timeS, run } = await readExportTable(path)
    expect(run).toBe('20260517T081203Z')
    expect(columns.map(({ name, unit, derived }) => [name, unit, derived])).toEqual([
      ['lambda', '1', false],
      ['coolant', 'C', false],
      ['boost, odd "name"', 'bar', false],
      ['lambda_trusted', '1', true],
      ['lambda_at_cause', '1', true],
      ['afr', '1', true],
      ['trust', '', true],
      ['state', '', true],
    ])
    expect([...timeS]).toEqual([0.1, 0.2, 0.3, 0.4])
    const coolant = columns[1]
    expect(coolant.kind === 'number' && coolant.values[0]).toBeCloseTo(85, 4)
    const boost = columns[2]
    expect(boost.kind === 'number' && [...boost.values].map((value) => value.toFixed(2))).toEqual([
      '0.12',
      'NaN',
      '0.14',
      '0.15',
    ])
  })

  it('becomes CSV after RFC 4180: quoted where needed, CR LF, empty for no reading', async () => {
    const table = selectColumns(await readExportTable(path), ['lambda', 'boost, odd "name"'])
    const text = [...csvChunks(table)].join('')
    expect(text).toBe(
      [
        'time,t [s],lambda [1],"boost, odd ""name"" [bar]"',
        '2026-05-17T08:12:03.350000Z,0.100000,0.95,0.12',
        '2026-05-17T08:12:03.450000Z,0.200000,0.96,',
        '2026-05-17T08:12:03.550000Z,0.300000,,0.14',
        '2026-05-17T08:12:03.650000Z,0.400000,1.01,0.15',
        '',
      ].join('\r\n'),
    )
  })

  it('comes with a line map that is valid and leaves derived columns out', async () => {
    const map = csvLineMap(await readExportTable(path))
    expect(parseLineMap(JSON.stringify(map))).toEqual(map)
    expect(map.channels.map(({ channel }) => channel)).toEqual(['lambda', 'coolant'])
    expect(map.records).toBeUndefined()
    const withCar = csvLineMap(await readExportTable(path, { car: { id: 'pebble' } }))
    expect(withCar.records).toEqual([{ type: 'car', car: { id: 'pebble' } }])
  })

  it('names the channels there are when one is asked for that is not', async () => {
    const table = await readExportTable(path)
    expect(() => selectColumns(table, ['speed'])).toThrow(/no channel "speed" \(there are lambda, coolant/)
  })

  it('is reduced to means over half-open intervals, NaN skipped', async () => {
    const table = reduceRate(await readExportTable(path), 5)
    expect([...table.timeS]).toEqual([0, 0.2, 0.4])
    const [lambda] = table.columns
    expect(lambda.kind === 'number' && [...lambda.values].map((value) => value.toFixed(3))).toEqual([
      '0.950',
      '0.960',
      '1.010',
    ])
  })

  it('is left as it is by a rate above its own', async () => {
    const table = await readExportTable(path)
    expect(reduceRate(table, 100)).toBe(table)
    expect(() => reduceRate(table, 0)).toThrow(RangeError)
  })

  it('without a start has seconds only', async () => {
    const bare = tinyCapture(join(directory, 'bare.capture'), channels.slice(0, 1), [[900]])
    const text = [...csvChunks(selectColumns(await readExportTable(bare), ['lambda']))].join('')
    expect(text).toBe('t [s],lambda [1]\r\n0.100000,0.9\r\n')
  })

  it('without samples is refused in words', async () => {
    const empty = tinyCapture(join(directory, 'empty.capture'), [], [])
    await expect(readExportTable(empty)).rejects.toMatchObject({ code: 'no_samples' })
  })

  it('without positions gives no track', async () => {
    const table = await readExportTable(path)
    expect(() => [...gpxChunks(table)]).toThrow(/no positions/)
  })

  it('with positions as channels of its own gives a track, cut at long silences', async () => {
    const place = [
      { name: 'latitude', unit: 'deg', scale: 1e-6 },
      { name: 'longitude', unit: 'deg', scale: 1e-6 },
      { name: 'lambda', unit: '1', scale: 0.001 },
    ]
    const places = Array.from({ length: 30 }, (_, i) =>
      i > 8 && i < 25 ? [Number.NaN, Number.NaN, 950] : [47_000_000 + i * 1000, 8_000_000, 950],
    )
    const run = tinyCapture(join(directory, 'track.capture'), place, places, [start], 1)
    const text = [...gpxChunks(await readExportTable(run))].join('')
    expect(text.match(/<trkseg>/g)).toHaveLength(2)
    expect(text.match(/<trkpt/g)).toHaveLength(14)
    expect(text).toContain('<time>2026-05-17T08:12:04.250000Z</time>')
  })
})

describe('names of exports', () => {
  it('hold no character that a file system may refuse', () => {
    expect(runName('/data/2026-05-17T08:12:03Z "first".capture.gz')).toBe('2026-05-17T08-12-03Z--first-')
  })

  it('are told apart when two runs are called the same', () => {
    expect(uniqueNames(['a/run.capture', 'b/run.capture', 'c/RUN.capture.gz'])).toEqual([
      'run',
      'run-2',
      'RUN-3',
    ])
  })

  it('lie by car and by the day of the run’s own clock', () => {
    expect(seasonPath('r', 'marigold', '2026-05-17T00:30:00+02:00')).toBe(
      join('car=marigold', 'date=2026-05-17', 'r.parquet'),
    )
    expect(seasonPath('r', undefined, undefined)).toBe(
      join('car=__HIVE_DEFAULT_PARTITION__', 'date=__HIVE_DEFAULT_PARTITION__', 'r.parquet'),
    )
  })
})
