import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { createBoardDecoder } from '../../core/line/boardDecoder.ts'
import { encodeLine } from '../../core/line/encodeLine.ts'
import {
  at,
  channelLine,
  decodeScript,
  gather,
  identityLine,
  type ScriptLine,
  sampleLines,
} from '../support/boardScript.ts'

const declared = [at(0, identityLine), at(0, channelLine(0))]

function upTo(count: number, from = 0): number[] {
  return Array.from({ length: count }, (_, i) => from + i)
}

describe('createBoardDecoder', () => {
  it('turns declared samples into columns with scale and offset', () => {
    const { segments, counts, identities } = decodeScript([
      at(0, identityLine),
      at(0, channelLine(0, 'pump_current', 0.001, 0)),
      at(0, channelLine(1, 'coolant', 0.5, -40)),
      at(1, { kind: 'sample', seq: 1, tick: 0, values: [-12, 300] }),
      at(1.01, { kind: 'sample', seq: 2, tick: 10_000, values: [Number.NaN, 301] }),
    ])
    expect(identities).toEqual([expect.objectContaining({ boardName: 'bench board', source: 0 })])
    expect(segments).toHaveLength(1)
    expect(segments[0].channels.map(({ name, unit }) => [name, unit])).toEqual([
      ['pump_current', 'V'],
      ['coolant', 'V'],
    ])
    expect(segments[0].columns).toEqual([
      [Math.fround(-0.012), Number.NaN],
      [110, 110.5],
    ])
    expect(segments[0].timeS[0]).toBeCloseTo(1, 9)
    expect(segments[0].timeS[1]).toBeCloseTo(1.01, 9)
    expect(counts).toMatchObject({ lines: 5, samples: 2, badChecksum: 0, unreadable: 0, missingSamples: 0 })
  })

  it('gives the same values and times however the bytes are cut', () => {
    const script = [
      '\u0000\u0000',
      encodeLine(identityLine),
      'S,1,torn',
      encodeLine(channelLine(0)),
      ...sampleLines(30).map(({ text }) => text),
      '\u00ff\u0081noise',
      'x'.repeat(700),
      encodeLine(channelLine(1, 'more')),
      ...sampleLines(30, { from: 32, values: (i) => [i, -i] }).map(({ text }) => `${text}\r`),
    ]
    const bytes = Buffer.from(script.join('\n').concat('\n'), 'latin1')
    const whole = cutInto(bytes, [])
    expect(whole.counts).toMatchObject({ samples: 60, missingSamples: 2, badChecksum: 1 })
    for (let cut = 1; cut < bytes.length; cut++) expect(cutInto(bytes, [cut])).toEqual(whole)
    fc.assert(
      fc.property(fc.array(fc.nat(bytes.length), { maxLength: 40 }), (cuts) => {
        expect(cutInto(bytes, cuts)).toEqual(whole)
      }),
    )
    expect(cutInto(bytes, upTo(bytes.length))).toEqual(whole)
  })

  it('never throws and counts every line for any bytes', () => {
    fc.assert(
      fc.property(fc.array(fc.uint8Array({ maxLength: 400 })), (pieces) => {
        const { sink } = gather()
        const decoder = createBoardDecoder({ emit: sink })
        pieces.forEach((piece, i) => {
          decoder.push(piece, i)
        })
        decoder.flush()
        const { lines, badChecksum, unreadable } = decoder.counts
        expect(badChecksum + unreadable).toBe(lines)
      }),
    )
  })

  it('hands on blocks of at most 1024 samples within one push', () => {
    const counts: number[] = []
    const decoder = createBoardDecoder({ emit: { block: ({ count }) => counts.push(count) } })
    const script = [...declared, ...sampleLines(2500)]
    decoder.push(Buffer.from(script.map(({ text }) => `${text}\n`).join('')), 0)
    expect(counts).toEqual([1024, 1024, 452])
  })

  it('accepts CR LF and CR CR LF, and NUL bytes before a line', () => {
    const plain = decodeScript([...declared, ...sampleLines(300)])
    expect(decodeScript([...declared, ...sampleLines(300)], '\r\n')).toEqual(plain)
    expect(decodeScript([...declared, ...sampleLines(300)], '\r\r\n')).toEqual(plain)
    const nul = [...declared, ...sampleLines(300)].map(({ arrivalS, text }) => at(arrivalS, `\u0000${text}`))
    expect(decodeScript(nul)).toEqual(plain)
  })

  it('finds the next line after minutes of noise, in bounded memory', () => {
    const { result, sink } = gather()
    const decoder = createBoardDecoder({ emit: sink })
    const noise = Uint8Array.from({ length: 5000 }, (_, i) => ((i * 7919) % 251) | 0x80)
    for (let i = 0; i < 400; i++) decoder.push(noise, i * 0.1)
    decoder.push(Buffer.from('\n'), 40)
    for (const { text } of [...declared, ...sampleLines(5)]) decoder.push(Buffer.from(`${text}\n`), 41)
    expect(result.segments[0].columns).toEqual([[0, 1, 2, 3, 4]])
    expect(decoder.counts.unreadable).toBeGreaterThan(1000)
    expect(decoder.counts.samples).toBe(5)
  })

  it('counts damaged lines and the samples lost with them', () => {
    const lines = sampleLines(20)
    lines[4].text = lines[4].text.replace('S', 'Q')
    lines[5].text = lines[5].text.slice(0, 7)
    lines[9].text = '\u00fe\u0003'
    const { counts, segments } = decodeScript([...declared, ...lines])
    expect(counts).toMatchObject({ lines: 22, samples: 17, badChecksum: 2, unreadable: 1, missingSamples: 3 })
    expect(segments).toHaveLength(1)
  })

  it('tells missing samples over the wraps of sequence number and tick', () => {
    const lines = sampleLines(300, { seq: 65500, tick: 2 ** 32 - 1_000_000 })
    lines.splice(30, 10)
    const { counts, segments } = decodeScript([...declared, ...lines])
    expect(counts).toMatchObject({ samples: 290, missingSamples: 10, restarts: 0, clockJumps: 0 })
    expect(segments).toHaveLength(1)
    for (const [i, timeS] of segments[0].timeS.entries()) {
      expect(timeS).toBeCloseTo(0.002 + (i < 30 ? i : i + 10) * 0.01, 6)
    }
  })

  it('tells missing samples over a silence in which the sequence number wrapped', () => {
    const { counts, segments } = decodeScript([
      ...declared,
      ...sampleLines(10),
      ...sampleLines(10, { from: 70_000 }),
    ])
    expect(counts).toMatchObject({ samples: 20, missingSamples: 70_000 - 10, restarts: 0, clockJumps: 0 })
    expect(segments[0].timeS[10]).toBeCloseTo(700.002, 5)
  })

  it('follows the tick over a silence of more than one wrap', () => {
    const from = 2 * 429_497 + 100_000
    const { counts, segments } = decodeScript([...declared, ...sampleLines(10), ...sampleLines(10, { from })])
    expect(counts).toMatchObject({ restarts: 0, clockJumps: 0 })
    expect(segments).toHaveLength(1)
    expect(segments[0].timeS[10]).toBeCloseTo(from * 0.01 + 0.002, 4)
  })

  it('drops repeated and late samples and keeps the times ascending', () => {
    const lines = sampleLines(30)
    const repeated = [...lines.slice(0, 11), lines[10], ...lines.slice(11)]
    expect(decodeScript([...declared, ...repeated]).counts).toMatchObject({
      samples: 30,
      repeatedSamples: 1,
      missingSamples: 0,
      restarts: 0,
    })
    const late = [...lines.slice(0, 10), lines[11], lines[10], ...lines.slice(12)]
    const { counts, segments } = decodeScript([...declared, ...late])
    expect(counts).toMatchObject({ samples: 29, repeatedSamples: 1, missingSamples: 1, restarts: 0 })
    expect(segments).toHaveLength(1)
    expectAscending(segments[0].timeS)
  })

  it('takes a restart for a new segment and no error', () => {
    const { counts, segments } = decodeScript([
      ...declared,
      ...sampleLines(500),
      at(8, identityLine),
      at(8, channelLine(0)),
      ...sampleLines(20, { startS: 8 }),
    ])
    expect(counts).toMatchObject({ samples: 520, restarts: 1, missingSamples: 0, badChecksum: 0 })
    expect(segments.map(({ segment, timeS }) => [segment, timeS.length])).toEqual([
      [0, 500],
      [1, 20],
    ])
    expect(segments[1].timeS[0]).toBeCloseTo(8.002, 6)
  })

  it('finds a restart soon after a start, when all declarations come again', () => {
    const { counts, segments } = decodeScript([
      ...declared,
      ...sampleLines(20),
      at(0.5, identityLine),
      at(0.5, channelLine(0)),
      ...sampleLines(30, { startS: 0.5 }),
    ])
    expect(counts).toMatchObject({ samples: 50, restarts: 1 })
    expect(segments).toHaveLength(2)
  })

  it('finds a restart whose first lines were lost', () => {
    const { counts, segments } = decodeScript([
      ...declared,
      ...sampleLines(500),
      ...sampleLines(20, { from: 3, startS: 8 }),
    ])
    expect(counts).toMatchObject({ samples: 520, restarts: 1, missingSamples: 0 })
    expect(segments).toHaveLength(2)
  })

  it('finds a restart after more than half the range of the tick', () => {
    const { counts, segments } = decodeScript([
      ...declared,
      ...sampleLines(20, { tick: 3_000_000_000, seq: 40_000 }),
      at(3, identityLine),
      ...sampleLines(20, { startS: 3 }),
    ])
    expect(counts).toMatchObject({ samples: 40, restarts: 1, missingSamples: 0 })
    expect(segments).toHaveLength(2)
    expect(segments[1].timeS[0]).toBeCloseTo(3.002, 6)
  })

  it('takes routine declarations between samples for nothing', () => {
    const lines = sampleLines(100)
    lines.splice(20, 0, at(0.2, identityLine))
    lines.splice(60, 0, at(0.6, channelLine(0)))
    const { counts, segments, identities } = decodeScript([...declared, ...lines])
    expect(counts).toMatchObject({ samples: 100, restarts: 0 })
    expect(segments).toHaveLength(1)
    expect(identities).toHaveLength(1)
  })

  it('starts a new segment when a declaration changes', () => {
    const { segments } = decodeScript([
      ...declared,
      ...sampleLines(10),
      at(0.1, channelLine(0, 'ch0', 2)),
      ...sampleLines(10, { from: 10 }),
    ])
    expect(segments.map(({ segment, columns }) => [segment, columns[0]])).toEqual([
      [0, upTo(10)],
      [1, upTo(10, 10).map((value) => value * 2)],
    ])
  })

  it('starts one new segment only when several declarations change together', () => {
    const two = { values: (i: number) => [i, i] }
    const { segments } = decodeScript([
      ...declared,
      at(0, channelLine(1)),
      ...sampleLines(10, two),
      at(0.1, channelLine(0, 'a')),
      at(0.1, channelLine(1, 'b')),
      ...sampleLines(10, { ...two, from: 10 }),
    ])
    expect(segments.map(({ segment }) => segment)).toEqual([0, 1])
    expect(segments[1].channels.map(({ name }) => name)).toEqual(['a', 'b'])
  })

  it('forgets declarations when another board comes', () => {
    const { segments } = decodeScript([
      ...declared,
      ...sampleLines(10),
      at(1, { ...identityLine, uniqueId: 'other' } as typeof identityLine),
      ...sampleLines(10, { startS: 1, values: (i) => [i, i] }),
      at(1.2, channelLine(0, 'x')),
      at(1.2, channelLine(1, 'y')),
    ])
    expect(segments.map(({ channels }) => channels.map(({ name }) => name))).toEqual([['ch0'], ['x', 'y']])
  })

  it('fills columns with no reading where a sample is shorter than declared', () => {
    const { segments } = decodeScript([
      ...declared,
      at(0, channelLine(1)),
      ...sampleLines(2, { values: (i) => (i === 0 ? [5] : [6, 7]) }),
    ])
    expect(segments[0].columns).toEqual([
      [5, 6],
      [Number.NaN, 7],
    ])
  })
})

describe('createBoardDecoder with samples before their declarations', () => {
  it('decodes what waited as soon as identity and channels are known', () => {
    const { segments, counts } = decodeScript([
      ...sampleLines(100),
      at(1, channelLine(0)),
      at(1.1, identityLine),
      ...sampleLines(100, { from: 100 }),
    ])
    expect(segments).toHaveLength(1)
    expect(segments[0].columns[0]).toEqual(upTo(200))
    expect(segments[0].timeS[0]).toBeCloseTo(0.002, 6)
    expect(counts).toMatchObject({ samples: 200, undeclared: 0, missingSamples: 0 })
  })

  it('waits for every channel of a sample and loses none', () => {
    const values = (i: number) => [i, 10 * i, 100 * i]
    const { segments, counts } = decodeScript([
      at(0, identityLine),
      at(0, channelLine(2)),
      ...sampleLines(50, { values }),
      at(0.5, channelLine(0)),
      ...sampleLines(50, { from: 50, values }),
      at(1, channelLine(1)),
      ...sampleLines(50, { from: 100, values }),
    ])
    expect(counts).toMatchObject({ samples: 150, undeclared: 0 })
    expect(segments).toHaveLength(1)
    expect(segments[0].columns[1]).toEqual(upTo(150).map((i) => 10 * i))
  })

  it('drops and counts samples older than 10 s while no channel is declared', () => {
    const { segments, counts } = decodeScript([
      ...sampleLines(1500),
      at(15, identityLine),
      at(15, channelLine(0)),
      ...sampleLines(10, { from: 1500 }),
    ])
    expect(counts.undeclared).toBeGreaterThan(490)
    expect(counts.undeclared).toBeLessThan(510)
    expect(counts.samples + counts.undeclared).toBe(1510)
    expect(segments[0].columns[0].at(-1)).toBe(1509)
  })

  it('counts all as undeclared when no declaration ever comes', () => {
    const { segments, counts } = decodeScript(sampleLines(50))
    expect(segments).toEqual([])
    expect(counts).toMatchObject({ samples: 0, undeclared: 50 })
  })

  it('gives arrival times when no identity comes within 10 s', () => {
    const { segments, counts } = decodeScript([at(0, channelLine(0)), ...sampleLines(1200)])
    expect(counts).toMatchObject({ samples: 1200, undeclared: 0 })
    expect(segments[0].timeS[700]).toBeCloseTo(7.002, 9)
  })

  it('goes over to the tick without a step back when the identity comes late', () => {
    const { segments, counts } = decodeScript([
      at(0, channelLine(0)),
      ...sampleLines(1200),
      at(12, identityLine),
      ...sampleLines(1200, { from: 1200 }),
    ])
    expect(counts).toMatchObject({ samples: 2400, undeclared: 0, clockJumps: 0 })
    expect(segments).toHaveLength(1)
    expectAscending(segments[0].timeS)
  })

  it('names channels that stay undeclared for 10 s after their position', () => {
    const { segments, counts } = decodeScript([
      ...declared,
      ...sampleLines(1200, { values: (i) => [i, 7, 8] }),
    ])
    expect(counts).toMatchObject({ samples: 1200, undeclared: 0 })
    expect(segments[0].channels.map(({ name, unit, scale }) => [name, unit, scale])).toEqual([
      ['ch0', 'V', 1],
      ['channel_1', '1', 1],
      ['channel_2', '1', 1],
    ])
    expect(segments[0].columns[2].slice(0, 2)).toEqual([8, 8])
  })

  it('starts a new segment when such a channel is declared after all', () => {
    const values = (i: number) => [i, 7]
    const { segments } = decodeScript([
      ...declared,
      ...sampleLines(1200, { values }),
      at(12, channelLine(1, 'late', 2)),
      ...sampleLines(5, { from: 1200, values }),
    ])
    expect(segments.map(({ channels }) => channels[1].name)).toEqual(['channel_1', 'late'])
    expect(segments[1].columns[1]).toEqual([14, 14, 14, 14, 14])
  })

  it('decodes at the end of the input what is declared, without an identity', () => {
    const { segments, counts } = decodeScript([...sampleLines(5), at(1, channelLine(0))])
    expect(counts).toMatchObject({ samples: 5, undeclared: 0 })
    expect(segments[0].timeS[4]).toBeCloseTo(0.042, 9)
  })

  it('uses arrival times at once when the identity says there is no tick', () => {
    const { segments } = decodeScript([
      at(0, { ...identityLine, ticksPerSecond: 0 } as typeof identityLine),
      at(0, channelLine(0)),
      ...sampleLines(5, { tick: 77 }),
    ])
    expect(segments[0].timeS[4]).toBeCloseTo(0.042, 9)
  })
})

describe('createBoardDecoder events and answers', () => {
  it('lays an event at its tick', () => {
    const { events } = decodeScript([
      ...declared,
      ...sampleLines(100),
      at(1.05, { kind: 'event', tick: 995_000, code: 'heater_open', text: 'a, b' }),
    ])
    expect(events).toEqual([
      { source: 0, timeS: expect.closeTo(0.997, 6), code: 'heater_open', text: 'a, b' },
    ])
  })

  it('lays an event before any sample at its arrival', () => {
    const { events } = decodeScript([at(3, { kind: 'event', tick: 5, code: 'supply_low', text: '' })])
    expect(events).toEqual([{ source: 0, timeS: 3, code: 'supply_low', text: '' }])
  })

  it('hands on samples before the event that came behind them', () => {
    const order: string[] = []
    const decoder = createBoardDecoder({
      emit: {
        block: ({ count }) => order.push(`${count} samples`),
        event: ({ code }) => order.push(code),
        answer: ({ command, ok }) => order.push(`${command} ${ok}`),
      },
    })
    const script: ScriptLine[] = [
      ...declared,
      ...sampleLines(3),
      at(0.03, { kind: 'event', tick: 25_000, code: 'cell_open', text: '' }),
      ...sampleLines(2, { from: 3 }),
      at(0.05, { kind: 'answer', command: 'Z', ok: true, text: '' }),
    ]
    decoder.push(Buffer.from(script.map(({ text }) => `${text}\n`).join('')), 0)
    expect(order).toEqual(['3 samples', 'cell_open', '2 samples', 'Z true'])
  })
})

function cutInto(bytes: Uint8Array, cuts: number[]) {
  const { result, sink } = gather()
  const decoder = createBoardDecoder({ emit: sink })
  const edges = [0, ...cuts.toSorted((a, b) => a - b), bytes.length]
  for (let i = 1; i < edges.length; i++) decoder.push(bytes.slice(edges[i - 1], edges[i]), 5)
  decoder.flush()
  return { ...result, counts: { ...decoder.counts } }
}

function expectAscending(timeS: readonly number[]): void {
  for (let i = 1; i < timeS.length; i++) expect(timeS[i]).toBeGreaterThan(timeS[i - 1])
}
