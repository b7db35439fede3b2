import { writeFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { readExportTable } from '../../bridge/export/exportTable.ts'
import { captureHeader, formatCaptureLine } from '../../core/capture/formatCapture.ts'
import { scanCapture } from '../../core/capture/scanCapture.ts'
import { decodeSource } from '../../core/capture/sourceDecoder.ts'
import { encodeLine } from '../../core/line/encodeLine.ts'
import { analyseCapture, createCaptureAnalyser } from '../../core/pipeline/analyseCapture.ts'
import { createRunItemReader, type RunItem } from '../../dashboard/worker/runItems.ts'
import { testDirectory } from '../support/runFiles.ts'

const directory = testDirectory()
const bytesOf = (text: string) => new TextEncoder().encode(text)

/** Sentences of public logs, as they stand there. */
const atlantic = [
  // NOAA PSL, ATOMIC 2020 cruise, raw log of 14 Jan 2020: downloads.psl.noaa.gov/psd3/cruises/ATOMIC_2020/RHB/flux/Raw_Share/20014/gps02001420_raw.txt
  '$GPGGA,195959.00,1541.31258893,N,05130.51204125,W,2,06,1.5,9.2,M,-37.6,M,4.0,0138*7E',
  '$GPRMC,195959.00,A,1541.31258893,N,05130.51204125,W,0.26,147.44,140120,16.9,W,D*0B',
  '$GPVTG,147.44,T,164.31,M,0.26,N,0.49,K,D*2C',
  '$GPZDA,195959.00,14,01,2020,00,00*6A',
]
const damaged = [
  // A public note with an annotated sentence, whose checksum does not hold as printed.
  '$GPRMC,170047.00,A,4121.23302,N,00201.31654,W,2.703, ,200417, , ,A*64',
  '$GPGGA,195959.00,1541.31258893,N,05130.5',
]

function capture(lines: readonly (readonly [number, `<${number}`, string])[], sources: unknown[]): string {
  const start = { type: 'start' as const, at: '2020-01-14T19:59:50.000Z', sources }
  const body = lines.map(([timeS, kind, text]) => formatCaptureLine(timeS, kind, text)).join('')
  return `${captureHeader}\n${formatCaptureLine(0, '=', start)}${body}`
}

const map = {
  format: 'floatbowl-map 1',
  lines: { by: 'divider', divider: ';' },
  clock: { field: 1, format: 'milliseconds' },
  channels: [
    { field: 2, channel: 'lambda', unit: '1' },
    { field: 3, channel: 'engine_speed', unit: 'rpm' },
  ],
}
const mapped = Array.from({ length: 600 }, (_, i) => {
  const timeS = 0.5 + i * 0.02
  return [timeS, '<0', `${i * 20};0.9${i % 10};850\r`] as const
})

describe('a run of another board, recorded with its line map', () => {
  it('is analysed through the map that its start record carries', () => {
    const { result } = analyseCapture(bytesOf(capture(mapped, [{ source: 0, kind: 'mapped', map }])))
    expect(result.channels_used).toEqual(['lambda', 'engine_speed'])
    expect(result.integrity).toMatchObject({ lines: 600, samples: 600, bad_checksum: 0 })
  })

  it('without its map has no sample, and says how many lines cannot be read', () => {
    const { result } = analyseCapture(bytesOf(capture(mapped, [])))
    expect(result.integrity).toMatchObject({ samples: 0, unreadable: 600 })
  })
})

describe('a source that is read differently from some moment on', () => {
  const board = (n: number) => {
    const lines = [
      encodeLine({
        kind: 'identity',
        version: 1,
        boardName: 'b',
        firmware: '1',
        uniqueId: '1',
        ticksPerSecond: 1e6,
      }),
      encodeLine({ kind: 'channel', index: 0, name: 'lambda', unit: '1', scale: 0.01, offset: 0 }),
      ...Array.from({ length: n }, (_, i) =>
        encodeLine({ kind: 'sample', seq: i, tick: i * 20_000, values: [95] }),
      ),
    ]
    return lines.map((text, i) => [i * 0.02, '<0', text] as const)
  }
  const later = mapped.map(([timeS, kind, text]) => [timeS + 5, kind, text] as const)
  const readAs = formatCaptureLine(5, '!', { source: 0, what: 'read_as', kind: 'mapped', map })
  const whole = capture(board(50), []) + readAs + capture(later, []).split('\n').slice(2).join('\n')

  it('keeps the samples of both, in segments of their own channels', () => {
    const { segments, counts } = scanCapture(bytesOf(whole), { decoderOf: decodeSource })
    expect(segments.map(({ channels }) => channels.map(({ name }) => name))).toEqual([
      ['lambda'],
      ['lambda', 'engine_speed'],
    ])
    expect(segments[1].segment).toBeGreaterThan(segments[0].segment)
    expect(segments.map(({ timeS }) => timeS.length)).toEqual([50, 600])
    expect(counts).toMatchObject({ lines: 652, samples: 650, unreadable: 0, badChecksum: 0 })
  })

  it('gives the same however its bytes are cut', () => {
    const { result } = analyseCapture(bytesOf(whole))
    const bytes = bytesOf(whole)
    const pieces = Array.from({ length: Math.ceil(bytes.length / 97) }, (_, i) =>
      bytes.subarray(i * 97, i * 97 + 97),
    )
    expect(analyseCapture(pieces).result).toEqual(result)
    expect(result.channels_used).toEqual(['lambda', 'engine_speed'])
  })

  it("goes back to the board's format when the notice names no map", () => {
    const back = formatCaptureLine(3, '!', { source: 0, what: 'read_as', kind: 'board' })
    const text = capture(mapped.slice(0, 100), [{ source: 0, kind: 'mapped', map }]) + back
    const after = board(50)
      .map(([timeS, kind, line]) => formatCaptureLine(timeS + 3, kind, line))
      .join('')
    const { segments } = scanCapture(bytesOf(text + after), { decoderOf: decodeSource })
    expect(segments.map(({ timeS }) => timeS.length)).toEqual([100, 50])
  })

  it('is passed over when the notice is damaged', () => {
    const odd =
      formatCaptureLine(0, '!', { source: -1, what: 'read_as' }) +
      formatCaptureLine(0, '!', { what: 'read_as' })
    const { counts } = scanCapture(bytesOf(capture(board(50), []) + odd), { decoderOf: decodeSource })
    expect(counts.samples).toBe(50)
  })
})

describe('a run opened on the page', () => {
  const blocksOf = (text: string) => {
    const items: RunItem[] = []
    const samples = new Map<number, number>()
    const reader = createRunItemReader((item) => {
      items.push(item)
      if (item.kind === 'block')
        samples.set(item.block.source, (samples.get(item.block.source) ?? 0) + item.block.count)
    })
    reader.push(bytesOf(text))
    return { counts: reader.end().counts, samples }
  }

  it('is read through its line map, as the command line reads it', () => {
    const { counts, samples } = blocksOf(capture(mapped, [{ source: 0, kind: 'mapped', map }]))
    expect(samples).toEqual(new Map([[0, 600]]))
    expect(counts).toMatchObject({ samples: 600, unreadable: 0 })
  })

  it('has its receiver and its further boards, whatever their numbers', () => {
    const more = [
      encodeLine({
        kind: 'identity',
        version: 1,
        boardName: 'b',
        firmware: '1',
        uniqueId: '1',
        ticksPerSecond: 1e6,
      }),
      encodeLine({ kind: 'channel', index: 0, name: 'oil_pressure', unit: 'kPa', scale: 1, offset: 0 }),
      encodeLine({ kind: 'sample', seq: 0, tick: 0, values: [300] }),
    ].map((text, i) => [20 + i * 0.01, '<2', text] as const)
    const sentences = atlantic.map((text, i) => [21 + i * 0.01, '<3', `${text}\r`] as const)
    const { samples } = blocksOf(
      capture(
        [...mapped, ...more, ...sentences],
        [
          { source: 0, kind: 'mapped', map },
          { source: 2, kind: 'board' },
          { source: 3, kind: 'nmea' },
        ],
      ),
    )
    expect(samples).toEqual(
      new Map([
        [0, 600],
        [2, 1],
        [3, 1],
      ]),
    )
  })
})

describe('a run that is longer than may be kept', () => {
  const text =
    capture(mapped, [{ source: 0, kind: 'mapped', map }]) +
    formatCaptureLine(13, '=', { type: 'title', text: 'long' })
  const analysed = (cutBytes: number) => {
    const bytes = bytesOf(text)
    const analyser = createCaptureAnalyser({ mostSamples: 250 })
    for (let at = 0; at < bytes.length; at += cutBytes) analyser.push(bytes.subarray(at, at + cutBytes))
    return analyser.endWithColumns()
  }

  it('is analysed up to there, says so, and still reads the records after it', () => {
    const { analysis, columns } = analysed(1 << 20)
    expect(columns.timeS).toHaveLength(250)
    expect(analysis.result.run['problems']).toEqual([
      'the run is longer than fits in memory: analysed up to 5 s, 350 later samples left out',
    ])
    expect(analysis.result.run.title).toBe('long')
    expect(analysis.result.integrity.samples).toBe(600)
  })

  it('gives the same however its bytes are cut', () => {
    expect(analysed(97).analysis.result).toEqual(analysed(1 << 20).analysis.result)
  })
})

describe('sentences of a position receiver beside a board', () => {
  const lines = [
    ...mapped,
    ...atlantic.map((text, i) => [9.2 + i * 0.01, '<1', `${text}\r`] as const),
    ...damaged.map((text, i) => [9.5 + i * 0.01, '<1', `${text}\r`] as const),
  ].sort((a, b) => a[0] - b[0])
  const sources = [
    { source: 0, kind: 'mapped', map },
    { source: 1, kind: 'nmea' },
  ]

  it('give road speed to the analysis, damaged ones nothing', () => {
    const analyser = createCaptureAnalyser()
    analyser.push(bytesOf(capture(lines, sources)))
    const { analysis, columns } = analyser.endWithColumns()
    expect(analysis.result.channels_used).toContain('road_speed')
    const speed = columns.channels.find(({ name }) => name === 'road_speed')!
    const readings = [...speed.values].filter((value) => !Number.isNaN(value))
    // 0.26 kn, the only fix.
    expect(readings).toEqual([Math.fround(0.26 * (1852 / 3600))])
  })

  it('give the place to exports in full precision', async () => {
    const path = join(directory, 'atlantic.capture')
    writeFileSync(path, capture(lines, sources))
    const table = await readExportTable(path)
    expect(table.positions).toHaveLength(1)
    const one = (name: string) => {
      const column = table.columns.find((each) => each.name === name)!
      return column.kind === 'number' ? [...column.values].filter((value) => !Number.isNaN(value)) : []
    }
    expect(one('latitude')).toHaveLength(1)
    expect(one('latitude')[0]).toBeCloseTo(15.68854315, 8)
    expect(one('longitude')[0]).toBeCloseTo(-51.50853402, 8)
    expect(one('altitude')).toEqual([9.2])
    expect(one('course')).toEqual([147.44])
  })
})
