import { readFileSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { gzipSync } from 'node:zlib'
import * as fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { createSampleLines, declarationLines, shareOut } from '../../bridge/import/captureLines.ts'
import { importLog } from '../../bridge/import/importLog.ts'
import { createLogSurvey } from '../../bridge/import/logSurvey.ts'
import { scanCapture } from '../../core/capture/scanCapture.ts'
import { decodeSource } from '../../core/capture/sourceDecoder.ts'
import { decodeLine } from '../../core/line/decodeLine.ts'
import { type LineMap, parseLineMap } from '../../core/line/lineMap.ts'
import { createLineMapReader } from '../../core/line/lineMapReader.ts'
import { testDirectory } from '../support/runFiles.ts'

const directory = testDirectory()
const options = { app: 'test' }
let files = 0
const fresh = (ending: string) => join(directory, `${++files}${ending}`)

function logFile(text: string | Uint8Array, ending = '.csv'): string {
  const path = fresh(ending)
  writeFileSync(path, text)
  return path
}

function mapOf(channels: LineMap['channels'], more: object = {}): LineMap {
  return parseLineMap({
    format: 'floatbowl-map 1',
    lines: { by: 'divider', divider: ';' },
    decimal: ',',
    clock: { field: 1, format: 'seconds' },
    channels,
    ...more,
  })
}

const speedAndLambda = mapOf([
  { field: 2, channel: 'engine_speed', unit: 'rpm', range: [0, 9000] },
  { field: 3, channel: 'lambda', unit: '1', range: [0.5, 2] },
])

describe('importLog', () => {
  it('reads a log with decimal commas and a header in another language by positions', async () => {
    const log = logFile('Zeit;Drehzahl;Gemisch\r\n12,00;850;0,951\r\n12,05;862;0,9485\r\n12,10;;0,95\r\n')
    const out = fresh('.capture')
    const report = await importLog(log, speedAndLambda, out, {
      ...options,
      startMs: Date.parse('2026-05-17T08:12:03Z'),
    })
    expect(report).toMatchObject({ samples: 3, lines: 4, unfit: 1, start: '2026-05-17T08:12:03.000Z' })
    expect(report.first_unfit).toMatchObject({ line: 1, text: 'Zeit;Drehzahl;Gemisch' })
    expect(report.channels.map(({ step }) => step)).toEqual([1, 0.0001])
    const scanned = scanCapture(readFileSync(out))
    const [source] = scanned.segments
    expect([...source.timeS].map((timeS) => timeS.toFixed(6))).toEqual(['0.000000', '0.050000', '0.100000'])
    expect([...source.columns[1]].map((value) => value.toFixed(4))).toEqual(['0.9510', '0.9485', '0.9500'])
    expect(source.columns[0][2]).toBeNaN()
  })

  it('reads the same from a packed file', async () => {
    const text = '0;900;1\n1;910;1,5\n'
    const plain = fresh('.capture')
    const packed = fresh('.capture')
    const at = { ...options, startMs: 0 }
    await importLog(logFile(text), speedAndLambda, plain, at)
    await importLog(logFile(gzipSync(text), '.csv.gz'), speedAndLambda, packed, at)
    const body = (path: string) => readFileSync(path, 'utf8').split('\n').slice(2).join('\n')
    expect(body(packed)).toBe(body(plain))
  })

  it('takes the start from a clock with dates, to the microsecond', async () => {
    const map = mapOf([{ field: 2, channel: 'lambda', unit: '1' }], {
      decimal: '.',
      clock: { field: 1, format: 'iso8601' },
    })
    const out = fresh('.capture')
    const report = await importLog(
      logFile('2026-05-17T10:12:03.250417+02:00;0.9\n2026-05-17T10:12:04.250417+02:00;1\n'),
      map,
      out,
      options,
    )
    expect(report).toMatchObject({ start: '2026-05-17T08:12:03.250Z', start_from: 'clock' })
    expect([...scanCapture(readFileSync(out)).segments[0].timeS]).toEqual([0.000417, 1.000417])
  })

  it('refuses a file of which no line fits, with the first offending line', async () => {
    const failure = importLog(logFile('a,b,c\nd,e,f\n'), speedAndLambda, fresh('.capture'), options)
    await expect(failure).rejects.toMatchObject({ code: 'nothing_fits' })
    await expect(failure).rejects.toThrow(/none of the 2 lines .* fits the map; .* line 1 "a,b,c": 1 fields/)
  })

  it('refuses binary garbage without putting it on the terminal', async () => {
    const garbage = Uint8Array.from({ length: 5000 }, (_, i) => (i * 73 + (i >> 3) * 31) & 0xff)
    const failure = importLog(logFile(garbage), speedAndLambda, fresh('.capture'), options)
    await expect(failure).rejects.toMatchObject({ code: 'nothing_fits' })
    const text = String(await failure.catch((error: Error) => error.message))
    expect([...text].every((character) => character >= ' ' && character !== '\u007f')).toBe(true)
  })

  it('refuses columns that swapped places, with the first offending line', async () => {
    const failure = importLog(logFile('0;0,95;850\n1;0,96;851\n'), speedAndLambda, fresh('.capture'), options)
    // 0,95 rpm is believable; λ 850 is not.
    const report = await failure
    expect(report.channels.map(({ out_of_range }) => out_of_range)).toEqual([0, 2])
    expect(report.first_out_of_range).toMatchObject({ line: 1 })
    expect(report.first_out_of_range?.reason).toContain('lambda is 850')
    const both = mapOf([
      { field: 2, channel: 'engine_speed', unit: 'rpm', range: [100, 9000] },
      { field: 3, channel: 'lambda', unit: '1', range: [0.5, 2] },
    ])
    await expect(importLog(logFile('0;0,95;850\n'), both, fresh('.capture'), options)).rejects.toThrow(
      /no value is believable: are the columns right\?; the first, line 1/,
    )
  })

  it('never overwrites a run, and leaves none behind when it fails', async () => {
    const out = fresh('.capture')
    await importLog(logFile('0;900;1\n'), speedAndLambda, out, options)
    const before = readFileSync(out)
    await expect(importLog(logFile('0;950;1\n'), speedAndLambda, out, options)).rejects.toMatchObject({
      code: 'exists',
    })
    expect(readFileSync(out)).toEqual(before)
    const other = fresh('.capture')
    await expect(importLog(logFile('nothing\n'), speedAndLambda, other, options)).rejects.toThrow()
    expect(() => readFileSync(other)).toThrow(/ENOENT/)
  })

  it('says what to do with text of two bytes a character', async () => {
    const log = logFile(Buffer.from('\ufeff0;900;1\n', 'utf16le'))
    await expect(importLog(log, speedAndLambda, fresh('.capture'), options)).rejects.toThrow(/UTF-16/)
  })

  it('refuses a map without clock and rate', async () => {
    const map = { ...speedAndLambda, clock: undefined }
    await expect(importLog(logFile('0;9;1\n'), map, fresh('.capture'), options)).rejects.toMatchObject({
      code: 'bad_map',
    })
  })

  it('puts what one line cannot hold on further sources, and all of it is read back', async () => {
    const channels = Array.from({ length: 60 }, (_, i) => ({
      field: i + 2,
      channel: i === 59 ? 'lambda' : `probe_${i}`,
      unit: i === 59 ? '1' : 'V',
    }))
    const map = mapOf(channels, { decimal: '.' })
    const row = (n: number) =>
      `${n};${channels.map((_, i) => (i === 59 ? 0.95 : -1.2345 * (i + n + 1)).toFixed(4)).join(';')}`
    const out = fresh('.capture')
    await importLog(logFile(`${row(0)}\n${row(1)}\n`), map, out, options)
    const { segments } = scanCapture(readFileSync(out), { decoderOf: decodeSource })
    expect(segments.length).toBeGreaterThan(1)
    const found = new Map(
      segments.flatMap(({ channels: declared, columns }) =>
        declared.map(({ name }, k) => [name, columns[k][1]]),
      ),
    )
    expect(found.size).toBe(60)
    channels.forEach(({ channel }, i) => {
      expect(found.get(channel)).toBeCloseTo(i === 59 ? 0.95 : -1.2345 * (i + 2), 3)
    })
  })
})

describe('digits of an import', () => {
  it('none that is stated gets lost, whatever decimals a log holds', () => {
    const decimal = fc
      .tuple(fc.integer({ min: -9_999_999, max: 9_999_999 }), fc.integer({ min: 0, max: 7 }))
      .map(([digits, point]) => Number(`${digits}e-${point}`))
    void fc.assert(
      fc.property(fc.array(fc.tuple(decimal, decimal), { minLength: 1, maxLength: 20 }), (rows) => {
        const map = mapOf(
          [
            { field: 2, channel: 'lambda', unit: '1' },
            { field: 3, channel: 'probe', unit: 'V' },
          ],
          { decimal: '.' },
        )
        const survey = createLogSurvey(map)
        const text = rows.map(([a, b], i) => `${i};${a.toFixed(7)};${b}`).join('\n')
        survey.push(new TextEncoder().encode(text))
        const { channels: digits } = survey.end()
        const sources = shareOut(map, digits)
        const scales = declarationLines(map, sources[0], digits)
          .trim()
          .split('\n')
          .map((line) => decodeLine(line.split('<0 ')[1]))
          .flatMap((line) => (line.kind === 'channel' ? [line.scale] : []))
        const write = createSampleLines(sources, digits)
        rows.forEach((values, i) => {
          const line = decodeLine(write(i, Float64Array.from(values)).trim().split('<0 ')[1])
          expect(line.kind).toBe('sample')
          if (line.kind !== 'sample') return
          values.forEach((value, k) => {
            expect(Number((line.values[k] * scales[k]).toPrecision(14))).toBeCloseTo(value, 7)
          })
        })
      }),
      { numRuns: 50 },
    )
  })
})

describe('the readme of line maps', () => {
  it('shows maps that are maps, and read a line of theirs', () => {
    const text = readFileSync(new URL('../../bridge/import/README.md', import.meta.url), 'utf8')
    const maps = [...text.matchAll(/```json\n([\s\S]*?)```/g)].map(([, json]) => parseLineMap(json))
    expect(maps).toHaveLength(2)
    const lines = [['time;mixture;speed;water', '08:12:03,5;2,5;850;2,5'], ['$R850 V2500*1E']]
    maps.forEach((map, i) => {
      const values: number[] = []
      const reader = createLineMapReader(map, {
        emit: { block() {} },
        row: (_timeS, row) => values.push(...row),
      })
      for (const line of lines[i]) reader.text(line, 0)
      reader.flush()
      expect(reader.counts.firstMisfit).toBeUndefined()
      expect(values.map((value) => Math.round(value * 1000) / 1000)).toEqual(
        [
          [1.02, 850, 25],
          [850, 2.5],
        ][i],
      )
    })
  })
})
