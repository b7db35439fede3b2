import { spawnSync } from 'node:child_process'
import { existsSync, readdirSync, readFileSync, statSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { DuckDBInstance } from '@duckdb/node-api'
import { describe, expect, it } from 'vitest'
import { exportToFile, loadTable, mapText, writeTable } from '../../bridge/export/exportRun.ts'
import { importLog } from '../../bridge/import/importLog.ts'
import type { StateSpan } from '../../core/contract/result.ts'
import { parseLineMap } from '../../core/line/lineMap.ts'
import { analyseCapture } from '../../core/pipeline/analyseCapture.ts'
import { findCar } from '../../simulator/cars.ts'
import { simulateRun } from '../../simulator/run.ts'
import { testDirectory, tinyCapture } from '../support/runFiles.ts'

const root = new URL('../..', import.meta.url).pathname
const directory = testDirectory()
const file = (name: string) => join(directory, name)

/** The command line as a user starts it. */
function floatbowl(...words: string[]) {
  const { status, stdout, stderr } = spawnSync(
    process.execPath,
    ['--import', 'tsx', join(root, 'bridge/main.ts'), ...words],
    { cwd: root, encoding: 'utf8', maxBuffer: 1 << 28, env: { ...process.env, NO_COLOR: '1' } },
  )
  return { status, stdout, stderr }
}

async function queries(statements: readonly string[]): Promise<unknown[][][]> {
  const instance = await DuckDBInstance.create(':memory:')
  const connection = await instance.connect()
  try {
    const results: unknown[][][] = []
    for (const sql of statements) results.push((await connection.runAndReadAll(sql)).getRows() as unknown[][])
    return results
  } finally {
    connection.closeSync()
    instance.closeSync()
  }
}

const query = async (sql: string) => (await queries([sql]))[0]

const { bytes } = simulateRun({ car: findCar('marigold'), seconds: 420, seed: 5, gps: true })
const run = file('20240504T090000Z.capture')
writeFileSync(run, bytes)
const table = await loadTable(run, { to: 'csv' })
const csv = file('run.csv')
const parquet = file('run.parquet')
await writeTable(table, csv, 'csv')
await writeTable(table, parquet, 'parquet')
const rows = table.timeS.length

const stateAt = (spans: readonly StateSpan[], timeS: number) =>
  spans.find(({ start_s, end_s }) => timeS >= start_s && timeS < end_s)?.state

describe('a run exported and imported again', () => {
  it('gives the same analysis within the stated rounding', async () => {
    const before = analyseCapture(bytes).result
    const back = file('back.capture')
    const report = await importLog(csv, parseLineMap(mapText(table)), back, { app: 'test' })
    expect(report).toMatchObject({ samples: rows, unfit: 0, start_from: 'clock' })
    const after = analyseCapture(readFileSync(back)).result
    // The run begins anew at its first sample.
    const shiftS = table.timeS[0] - (table.timeS[0] * 1e6 - Math.floor(table.timeS[0] * 1e3) * 1e3) / 1e6
    expect(after.run).toMatchObject({ car: before.run.car, fitted: before.run.fitted, air: before.run.air })
    expect(after.missing).toEqual(before.missing)
    expect(Object.keys(after.mixture)).toEqual(Object.keys(before.mixture))
    expect(Object.keys(before.mixture).length).toBeGreaterThanOrEqual(3)
    for (const [state, mixture] of Object.entries(before.mixture)) {
      const again = after.mixture[state as keyof typeof after.mixture]!
      expect(Math.abs(again.lambda_median! - mixture.lambda_median!), state).toBeLessThan(0.002)
      expect(Math.abs(again.seconds - mixture.seconds), state).toBeLessThan(0.03 * mixture.seconds + 0.3)
    }
    let agreeing = 0
    let moments = 0
    for (let t = table.timeS[0]; t < table.timeS[rows - 1]; t += 0.02) {
      moments++
      if (stateAt(before.states, t) === stateAt(after.states, t - shiftS)) agreeing++
    }
    expect(agreeing / moments).toBeGreaterThan(0.99)
    expect(after.transients.map(({ kind }) => kind)).toEqual(before.transients.map(({ kind }) => kind))
    before.transients.forEach(({ start_s }, i) => {
      expect(Math.abs(after.transients[i].start_s + shiftS - start_s)).toBeLessThan(0.1)
    })
    // Times are rounded to the millisecond, which may move the search by one of its steps of 5 ms.
    expect(Math.abs(after.delay.a_s - before.delay.a_s)).toBeLessThan(0.0075)
    expect(Date.parse(after.run.start!) / 1000 + report.seconds).toBeCloseTo(
      Date.parse(before.run.start!) / 1000 + table.timeS[rows - 1],
      2,
    )
  })
})

describe('Parquet read by DuckDB', () => {
  it('holds the very values, times to the microsecond, and null for no reading', async () => {
    const [[count, firstS, lastMicros, readings, meanLambda]] = await query(
      `SELECT count(*)::INT, min(t_s), epoch_us(max("time")), count(cell_resistance)::INT, avg(lambda_trusted) FROM '${parquet}'`,
    )
    const number = (name: string) => {
      const column = table.columns.find((each) => each.name === name)!
      return column.kind === 'number' ? [...column.values].filter((value) => !Number.isNaN(value)) : []
    }
    const lambda = number('lambda_trusted')
    expect(count).toBe(rows)
    expect(firstS).toBe(table.timeS[0])
    expect(Number(lastMicros)).toBe(
      Math.round(table.startMs * 1000) + Math.round(table.timeS[rows - 1] * 1e6),
    )
    expect(readings).toBe(number('cell_resistance').length)
    expect(readings as number).toBeLessThan(rows)
    expect(meanLambda).toBeCloseTo(lambda.reduce((sum, value) => sum + value, 0) / lambda.length, 6)
  })

  it('holds states and reasons as texts', async () => {
    const found = await query(`SELECT state, count(*)::INT FROM '${parquet}' GROUP BY state ORDER BY state`)
    const column = table.columns.find(({ name }) => name === 'state')!
    if (column.kind !== 'text') throw new Error('state is a text')
    const counts = new Map<string, number>()
    for (const code of column.codes) counts.set(column.names[code], (counts.get(column.names[code]) ?? 0) + 1)
    expect(found).toEqual([...counts].sort((a, b) => (a[0] < b[0] ? -1 : 1)))
    expect(await query(`SELECT DISTINCT trust FROM '${parquet}' WHERE lambda_trusted IS NOT NULL`)).toEqual([
      ['ok'],
    ])
  })

  it('stores numbers as FLOAT, split by bytes and packed', async () => {
    const [[type, encodings, compression]] = await query(
      `SELECT type, encodings, compression FROM parquet_metadata('${parquet}') WHERE path_in_schema = 'engine_speed' LIMIT 1`,
    )
    expect(type).toBe('FLOAT')
    expect(String(encodings)).toContain('BYTE_STREAM_SPLIT')
    expect(compression).toBe('SNAPPY')
  })

  it('carries units and the car in its metadata', async () => {
    const pairs = await query(
      `SELECT decode(key), decode(value) FROM parquet_kv_metadata('${parquet}') WHERE decode(key) LIKE 'floatbowl.%'`,
    )
    const facts = new Map(pairs.map(([key, value]) => [key, value] as [string, string]))
    expect(JSON.parse(facts.get('floatbowl.units')!)).toMatchObject({
      engine_speed: 'rpm',
      manifold_pressure: 'kPa',
      t_s: 's',
    })
    expect(JSON.parse(facts.get('floatbowl.car')!)).toMatchObject({ id: 'marigold' })
    expect(JSON.parse(facts.get('floatbowl.fitted')!)).toHaveProperty('main_jet')
    expect(facts.get('floatbowl.start')).toBe('2024-05-04T09:00:00.000Z')
  })

  it('reads the CSV too, with the same figures', async () => {
    const [[count, speed, first]] = await query(
      `SELECT count(*)::INT, sum("engine_speed [rpm]")::DOUBLE, min("time")::VARCHAR FROM read_csv('${csv}', sample_size = -1)`,
    )
    const column = table.columns.find(({ name }) => name === 'engine_speed')!
    if (column.kind !== 'number') throw new Error('speed is a number')
    expect(count).toBe(rows)
    expect(speed).toBe(
      Float64Array.from(column.values).reduce((sum, value) => sum + (Number.isNaN(value) ? 0 : value), 0),
    )
    expect(String(first)).toContain('2024-05-04 09:00:00')
  })
})

describe('CSV read by pandas', () => {
  const python = '/usr/bin/python3'
  const hasPandas =
    existsSync(python) && spawnSync(python, ['-c', 'import pandas'], { timeout: 60_000 }).status === 0

  it.skipIf(!hasPandas)('has the columns as numbers and the times as times (needs Debian’s pandas)', () => {
    const script = `
import json, sys, pandas as pd
d = pd.read_csv(sys.argv[1], parse_dates=['time'])
print(json.dumps({'rows': len(d), 'dtypes': {c: str(t) for c, t in d.dtypes.items()}, 'speed': float(d['engine_speed [rpm]'].sum()),
  'last_us': d['time'].iloc[-1].value // 1000, 'missing': int(d['cell_resistance [ohm]'].isna().sum()), 'states': sorted(d['state'].dropna().unique())}))
`
    const { stdout, stderr, status } = spawnSync(python, ['-c', script, csv], { encoding: 'utf8' })
    expect(status, stderr).toBe(0)
    const read = JSON.parse(stdout)
    expect(read.rows).toBe(rows)
    expect(read.dtypes.time).toBe('datetime64[ns, UTC]')
    for (const column of table.columns) {
      const name = column.unit === '' ? column.name : `${column.name} [${column.unit}]`
      expect(read.dtypes[name], name).toMatch(column.kind === 'text' ? /object/ : /float64|int64/)
    }
    expect(read.last_us).toBe(Math.round(table.startMs * 1000) + Math.round(table.timeS[rows - 1] * 1e6))
    expect(read.missing).toBeGreaterThan(0)
    expect(read.states).toContain('cruise')
  })
})

describe('floatbowl export', () => {
  const channels = [
    { name: 'lambda', unit: '1', scale: 0.001 },
    { name: 'engine_speed', unit: 'rpm', scale: 1 },
  ]
  const samples = Array.from({ length: 200 }, (_, i) => [900 + (i % 100), 1500 + i])
  const season = [
    ['20260516T070000Z', 'marigold', '2026-05-16T09:00:00+02:00'],
    ['20260517T081203Z', 'marigold', '2026-05-17T10:12:03+02:00'],
    ['20260517T220000Z', 'pebble', '2026-05-18T00:00:00+02:00'],
  ].map(([name, car, at]) =>
    tinyCapture(file(`${name}.capture`), channels, samples, [{ type: 'start', at, car }]),
  )

  it('writes one run to standard output, nothing else there', () => {
    const { status, stdout, stderr } = floatbowl(
      'export',
      season[0],
      '--to',
      'csv',
      '--rate',
      '1',
      '--channels',
      'engine_speed,lambda_trusted',
    )
    expect(status, stderr).toBe(0)
    const lines = stdout.split('\r\n')
    expect(lines[0]).toBe('time,t [s],engine_speed [rpm],lambda_trusted [1]')
    expect(lines[1]).toMatch(/^2026-05-16T07:00:00\.000000Z,0\.000000,1504,0\.9/)
    expect(lines).toHaveLength(23)
    expect(stderr).toBe('')
  })

  it('makes a season of several runs in threads, by car and day, that DuckDB reads as one table', async () => {
    const out = file('season')
    const { status, stderr } = floatbowl('export', ...season, '--to', 'parquet', '--out', out, '--jobs', '2')
    expect(status, stderr).toBe(0)
    expect(readdirSync(out).sort()).toEqual(['car=marigold', 'car=pebble'])
    expect(readdirSync(join(out, 'car=marigold')).sort()).toEqual(['date=2026-05-16', 'date=2026-05-17'])
    const found = await query(
      `SELECT car, "date"::VARCHAR, run, count(*)::INT, avg("lambda")::FLOAT FROM read_parquet('${out}/**/*.parquet', hive_partitioning = true, union_by_name = true) GROUP BY ALL ORDER BY run`,
    )
    expect(found.map((row) => row.slice(0, 4))).toEqual([
      ['marigold', '2026-05-16', '20260516T070000Z', 200],
      ['marigold', '2026-05-17', '20260517T081203Z', 200],
      ['pebble', '2026-05-18', '20260517T220000Z', 200],
    ])
    expect(found[0][4]).toBeCloseTo(0.9495, 4)
  })

  it('analyses several runs in threads, each as it is alone, in the order given, and tells which could not be read', () => {
    const bad = file('no-run.capture')
    writeFileSync(bad, 'no capture at all\n')
    const { status, stdout, stderr } = floatbowl('analyse', '--json', '--jobs', '2', ...season, bad)
    expect(status).toBe(1)
    expect(stderr).toMatch(/no-run\.capture.*\n.*1 of 4 runs/s)
    const alone = season.map((path) => floatbowl('analyse', '--json', path).stdout)
    expect(stdout).toBe(alone.join(''))
  })

  it('goes on after a run that cannot be read, says which, and ends with 1', () => {
    const bad = file('bad.capture')
    writeFileSync(bad, 'no capture at all\n')
    const out = file('some')
    const { status, stdout, stderr } = floatbowl(
      'export',
      season[0],
      bad,
      season[1],
      '--to',
      'csv',
      '--out',
      out,
    )
    expect(status).toBe(1)
    expect(stdout).toBe('')
    expect(stderr).toMatch(/bad\.capture: not a capture/)
    expect(stderr).toMatch(/1 of 3 runs could not be exported/)
    expect(readdirSync(out).sort()).toEqual(['20260516T070000Z.csv', '20260517T081203Z.csv'])
  })

  it('ends with 2 for wrong usage and with 1 for a file that is not there', () => {
    expect(floatbowl('export', season[0], '--to', 'csv', '--rate', '-3').status).toBe(2)
    expect(floatbowl('export', season[0], '--to', 'csv', '--channels', 'nonsense')).toMatchObject({
      status: 2,
      stderr: expect.stringMatching(/no channel "nonsense" \(there are lambda, engine_speed/),
    })
    expect(floatbowl('export', ...season, '--to', 'csv').status).toBe(2)
    expect(floatbowl('export', file('none.capture'), '--to', 'csv').status).toBe(1)
  })

  it('writes a track that names its way points, and refuses one without positions', async () => {
    const gpx = file('track.gpx')
    await exportToFile(run, gpx, { to: 'gpx' })
    const text = readFileSync(gpx, 'utf8')
    expect(text.startsWith('<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1"')).toBe(true)
    expect(text.match(/<trkpt/g)!.length).toBe(table.positions.length)
    expect(table.positions.length).toBeGreaterThan(1000)
    const first = /<trkpt lat="([^"]+)" lon="([^"]+)">.*?<time>([^<]+)/.exec(text)!
    expect(Number(first[1])).toBeCloseTo(47, 3)
    expect(first[3]).toMatch(/^2024-05-04T09:00:00/)
    expect(floatbowl('export', season[0], '--to', 'gpx')).toMatchObject({
      status: 1,
      stderr: expect.stringMatching(/no positions/),
    })
  })

  it('never takes the place of a recording', async () => {
    await expect(exportToFile(season[0], season[1], { to: 'csv' })).rejects.toMatchObject({
      code: 'bad_target',
    })
    expect(statSync(season[1]).size).toBeGreaterThan(1000)
  })
})

describe('floatbowl import', () => {
  const map = file('map.json')
  writeFileSync(
    map,
    JSON.stringify({
      format: 'floatbowl-map 1',
      lines: { by: 'divider', divider: ';' },
      decimal: ',',
      clock: { field: 'Zeit', format: 'clock' },
      channels: [
        { field: 'Drehzahl', channel: 'engine_speed', unit: 'rpm' },
        { field: 'Lambda', channel: 'lambda', unit: '1', range: [0.5, 2] },
        { field: 'Wasser', channel: 'coolant', unit: 'C' },
      ],
    }),
  )
  const head = 'Zeit;Lambda;Drehzahl;Wasser\n'

  it('makes a run that analyse and check read, over midnight, and tells what did not fit', () => {
    const log = file('abend.csv')
    const moment = (i: number) => {
      const s = 23 * 3600 + 59 * 60 + 30 + i * 0.1
      const two = (n: number) => String(Math.floor(n)).padStart(2, '0')
      return `${two((s / 3600) % 24)}:${two((s / 60) % 60)}:${two(s % 60)},${Math.round((s % 1) * 10) % 10}`
    }
    const lines = Array.from({ length: 600 }, (_, i) =>
      i === 99 ? 'oops' : `${moment(i)};0,97${i % 10};850;8${i % 10},5\n`.trimEnd(),
    )
    writeFileSync(log, head + lines.join('\n'))
    const out = file('abend.capture')
    const words = ['--map', map, '--out', out, '--at', '2026-05-17T23:59:30+02:00', '--air', '12,99.1,60']
    const { status, stdout, stderr } = floatbowl('import', log, ...words, '--json')
    expect(status, stderr).toBe(0)
    expect(JSON.parse(stdout)).toMatchObject({
      samples: 599,
      headers: 1,
      unfit: 1,
      start: '2026-05-17T21:59:30.000Z',
    })
    expect(stderr).toMatch(/1 lines do not fit the map; the first, line 101 "oops": 1 fields, expected 4/)
    const check = floatbowl('check', out, '--json')
    expect(JSON.parse(check.stdout)).toMatchObject({ samples: 599, bad_checksum: 0, torn_end: false })
    const { run: facts, channels_used } = analyseCapture(readFileSync(out)).result
    expect(channels_used).toEqual(['lambda', 'engine_speed', 'coolant'])
    expect(facts.seconds).toBeCloseTo(59.9, 3)
    expect(facts.air).toMatchObject({ pressure_kPa: 99.1 })
  })

  it('ends with 1 and the first offending line for a map that fits nothing, and makes no file', () => {
    const log = file('other.csv')
    writeFileSync(log, 'time,rpm\n1,900\n')
    const out = file('other.capture')
    const { status, stderr } = floatbowl('import', log, '--map', map, '--out', out)
    expect(status).toBe(1)
    expect(stderr).toMatch(/none of the 2 lines .* line 1 "time,rpm": no header yet with "drehzahl"/)
    expect(existsSync(out)).toBe(false)
  })

  it('ends with 2 for a map with a fault, naming the field', () => {
    const bad = file('bad-map.json')
    writeFileSync(bad, JSON.stringify({ ...JSON.parse(readFileSync(map, 'utf8')), decimal: '!' }))
    const { status, stderr } = floatbowl('import', csv, '--map', bad, '--out', file('no.capture'))
    expect(status).toBe(2)
    expect(stderr).toMatch(/decimal/)
  })
})

describe('the README of the exports', () => {
  it('has queries that a database runs as they stand', async () => {
    const text = readFileSync(join(root, 'bridge/export/README.md'), 'utf8')
    const sql = /```sql\n([\s\S]*?)```/.exec(text)![1]
    const season = file('readme-season')
    await writeTable(table, join(season, 'car=marigold', 'date=2026-05-17', 'a.parquet'), 'parquet')
    const statements = sql
      .replaceAll("'season/", `'${season}/`)
      .split(';')
      .map((statement) => statement.trim())
      .filter((statement) => statement !== '')
    const results = await queries(statements)
    expect(results).toHaveLength(4)
    const [, [day], cells, [fitted]] = results
    expect(Number(day[2])).toBeGreaterThan(0.8)
    expect(Number(day[2])).toBeLessThan(1.2)
    expect(cells.length).toBeGreaterThan(3)
    expect(JSON.parse(String(fitted[1]))).toHaveProperty('main_jet')
  })
})
