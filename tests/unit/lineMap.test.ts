import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import type { SampleBlock } from '../../core/contract/samples.ts'
import { crc16 } from '../../core/line/crc16.ts'
import { parseLineMap } from '../../core/line/lineMap.ts'
import { createLineMapReader, type LineMapReaderOptions } from '../../core/line/lineMapReader.ts'
import { checkLinePattern } from '../../core/line/linePattern.ts'
import { parseFieldNumber } from '../../core/line/lineTime.ts'
import { utf8Bytes } from '../../core/line/utf8.ts'

const speed = { field: 1, channel: 'engine_speed', unit: 'rpm' }
const volts = { field: 2, channel: 'input_1', unit: 'V' }
const divided = { by: 'divider', divider: ',' }
const mapOf = (more: object = {}) =>
  parseLineMap({ format: 'floatbowl-map 1', lines: divided, channels: [speed, volts], rate_hz: 10, ...more })

/** Everything a text gives through a map, with copies of the columns. */
function readAll(text: string | Uint8Array, more: object = {}, options: Partial<LineMapReaderOptions> = {}) {
  const timeS: number[] = []
  const columns: number[][] = []
  const block = (block: SampleBlock) => {
    timeS.push(...block.timeS.subarray(0, block.count))
    block.columns.forEach((column, i) => {
      columns[i] ??= []
      columns[i].push(...column.subarray(0, block.count))
    })
  }
  const reader = createLineMapReader(mapOf(more), { timing: 'file', ...options, emit: { block } })
  reader.push(typeof text === 'string' ? utf8Bytes(text) : text, 0)
  reader.flush()
  return { timeS, columns, counts: reader.counts, channels: reader.channels }
}

describe('a map', () => {
  const faults: [string, object, RegExp][] = [
    ['a wrong format', { format: 'x' }, /^line map: format: .*found "x"/],
    ['no channels', { channels: [] }, /^line map: channels: .*found \[\]/],
    ['a channel without unit', { channels: [speed, { field: 2, channel: 'a' }] }, /channels\[1\]\.unit/],
    ['a field at 0', { channels: [{ ...speed, field: 0 }] }, /channels\[0\]\.field: .*found 0/],
    ['an unknown unit', { channels: [{ ...speed, unit: 'RPM' }] }, /channels\[0\]\.unit: unknown unit "RPM"/],
    [
      'a channel twice',
      { channels: [speed, speed] },
      /channels\[1\]\.channel: "engine_speed" is there twice/,
    ],
    [
      'a record that is of a moment',
      { records: [{ type: 'start', at: '2026-05-17T08:12:03Z' }] },
      /records\[0\].*free_air/,
    ],
    ['an unknown key', { dividr: ',' }, /dividr/],
    ['a range that falls', { channels: [{ ...speed, range: [5, 1] }] }, /channels\[0\]\.range/],
    [
      'a table that falls',
      {
        channels: [
          {
            ...speed,
            transfer: {
              type: 'table',
              points: [
                [1, 0],
                [0, 1],
              ],
            },
          },
        ],
      },
      /channels\[0\]\.transfer\.points\[1\]/,
    ],
    [
      'a thermistor in F',
      {
        channels: [
          {
            field: 1,
            channel: 'coolant',
            unit: 'F',
            transfer: { type: 'thermistor', model: { beta: 3500, r0_ohm: 2500, t0_C: 25 } },
          },
        ],
      },
      /channels\[0\]\.unit: a thermistor gives C/,
    ],
    ['the decimal mark as divider', { decimal: ',' }, /decimal: "," is the divider too/],
    ['a field beyond the line', { lines: { ...divided, fields: 1 } }, /channels\[1\]\.field: is 2/],
    ['a position in JSON', { lines: { by: 'json' } }, /channels\[0\]\.field/],
    [
      'a group that is not there',
      { lines: { by: 'pattern', pattern: 'a=(\\d+)' } },
      /channels\[1\]\.field: the pattern has no group 2/,
    ],
    [
      'an endless pattern',
      { lines: { by: 'pattern', pattern: '((a+)+)(b)' } },
      /lines\.pattern: .*repeated group/,
    ],
    ['a broken pattern', { lines: { by: 'pattern', pattern: '(' } }, /lines\.pattern/],
    ['an unknown way of taking apart', { lines: { by: 'magic' } }, /line map: lines/],
  ]
  for (const [name, more, message] of faults)
    test(`with ${name} is refused, and the field is named`, () => {
      expect(() => mapOf(more)).toThrow(RangeError)
      expect(() => mapOf(more)).toThrow(message)
    })

  test('that is no JSON, or no object, is refused with a RangeError', () => {
    for (const json of ['{', '[]', '7', 'null', '']) expect(() => parseLineMap(json)).toThrow(/^line map: /)
  })

  test('parsing is total: any JSON value gives a map or a RangeError', () => {
    fc.assert(
      fc.property(fc.jsonValue(), (value) => {
        try {
          parseLineMap(value)
        } catch (error) {
          expect(error).toBeInstanceOf(RangeError)
        }
      }),
    )
  })

  test('with neither clock nor rate cannot read a file', () => {
    const map = mapOf({ rate_hz: undefined })
    expect(() => createLineMapReader(map, { timing: 'file', emit: { block() {} } })).toThrow(
      /clock or rate_hz/,
    )
  })
})

describe('divided lines', () => {
  test('give samples by position, with comments, empty lines and a CR passed over', () => {
    const { columns, timeS, counts } = readAll('# hello\r\n800,1.5\r\n\r\n900,2.5\r\n', { comments: ['#'] })
    expect(columns).toEqual([
      [800, 900],
      [1.5, 2.5],
    ])
    expect(timeS).toEqual([0, 0.1])
    expect([counts.lines, counts.fitting, counts.passedOver]).toEqual([4, 2, 2])
  })

  test('give samples by header name wherever the columns stand, even when they swap later', () => {
    const channels = [
      { ...speed, field: 'Drehzahl (1/min)' },
      { ...volts, field: 'Volts' },
    ]
    const text =
      'Volts;Zeit;drehzahl (1/min)\n1/1;s;1/min\n1,5;0;800\n\nDrehzahl (1/min);Volts;x\n-;-;-\n900;2,5;0\n'
    const { columns, counts } = readAll(text, {
      channels,
      decimal: ',',
      lines: { by: 'divider', divider: ';' },
      skip_after_header: 1,
    })
    expect(columns).toEqual([
      [800, 900],
      [1.5, 2.5],
    ])
    expect([counts.headers, counts.unreadable]).toEqual([2, 0])
  })

  test('without the header that the map names fit nothing, and the first line is told', () => {
    const channels = [{ ...speed, field: 'RPM' }]
    const { counts } = readAll('Tours,Volts\n800,1\n', { channels })
    expect(counts.samples).toBe(0)
    expect(counts.firstMisfit).toEqual({ line: 1, text: 'Tours,Volts', reason: 'no header yet with "rpm"' })
  })

  test('take white space, tabs and quoted fields apart', () => {
    expect(readAll('  800   1.5 \n', { lines: { by: 'divider', divider: ' ' } }).columns).toEqual([
      [800],
      [1.5],
    ])
    expect(readAll('800\t1.5\n', { lines: { by: 'divider', divider: '\t' } }).columns).toEqual([[800], [1.5]])
    expect(readAll('"800","1.5","a ""b"", c"\n', { lines: { ...divided, fields: 3 } }).columns).toEqual([
      [800],
      [1.5],
    ])
  })

  test('missing readings are NaN; text, hexadecimal and short lines do not fit', () => {
    const { columns, counts } = readAll('800,\n,NaN\n0x10,1\n7\nabc,1\n900,2\n')
    expect(columns[0]).toEqual([800, Number.NaN, 900])
    expect(columns[1]).toEqual([Number.NaN, Number.NaN, 2])
    expect(counts.unreadable).toBe(3)
    expect(counts.firstMisfit).toEqual({ line: 3, text: '0x10,1', reason: 'field 1 is no number: "0x10"' })
  })

  test('values outside the sanity range are no reading and counted by channel', () => {
    const { columns, counts } = readAll('800,1\n99999,1\n-5,1\n', {
      channels: [{ ...speed, range: [0, 9000] }, volts],
    })
    expect(columns[0]).toEqual([800, Number.NaN, Number.NaN])
    expect(counts.outOfRange).toEqual([2, 0])
  })

  test('over-long lines and binary noise are counted in bounded memory and the next line is read', () => {
    const noise = Uint8Array.from({ length: 300_000 }, (_, i) => (i * 7919) % 251 || 1).map((byte) =>
      byte === 10 ? 11 : byte,
    )
    const text = utf8Bytes('\n800,1.5\n')
    const { columns, counts } = readAll(Uint8Array.from([...noise, ...text]))
    expect(columns).toEqual([[800], [1.5]])
    expect(counts.unreadable).toBe(1)
    expect(counts.firstMisfit?.reason).toBe('longer than 1000 bytes')
    expect(counts.firstMisfit?.text.length).toBeLessThanOrEqual(120)
  })
})

describe('patterns', () => {
  const lines = { by: 'pattern', pattern: 'n=\\s*(\\d+) u=(?<u>-?\\d+(?:\\.\\d+)?)V' }

  test('take groups by number and by name from the line’s start', () => {
    const channels = [speed, { ...volts, field: 'u' }]
    const { columns, counts } = readAll('n= 800 u=1.5V\nx n=1 u=2V\n', { lines, channels })
    expect(columns).toEqual([[800], [1.5]])
    expect(counts.firstMisfit?.reason).toBe('the pattern does not fit')
  })

  test('that could take exponential or high polynomial time are refused', () => {
    for (const pattern of [
      '(a+)+$',
      '(a|a)*b',
      '(?:a?)+b',
      '(\\w+\\s?)*$',
      '.*.*.*.*x',
      '\\d+\\d+\\d+\\d+x',
      'a?a?a?a?a?a?aaaaaa',
      '(a|a)(a|a)(a|a)(a|a)x',
      '(ab)?(ab)?(ab)?(ab)?x',
      '(a)\\1',
      '(?=a)a',
    ])
      expect(checkLinePattern(pattern), pattern).toBeDefined()
  })

  test('that people write are accepted', () => {
    for (const pattern of [
      '(\\d+),(\\d+),(\\d+),(\\d+),(\\d+)',
      'rpm=(\\d+)\\s+afr=(-?\\d+(?:\\.\\d+)?)\\s+t=(-?\\d+)',
      '.*rpm: (\\d+)',
      '^\\[(\\d{2}:\\d{2}:\\d{2})\\] ([A-Z]+)=([\\d.]+);',
      '(?:ok|bad) (?<n>\\d+)',
      '\\$([^,]*),([^,]*),([^,]*)\\*',
    ])
      expect(checkLinePattern(pattern), pattern).toBeUndefined()
  })
})

describe('JSON lines', () => {
  test('take numbers and numeric texts by key, nested ones by path', () => {
    const channels = [
      { ...speed, field: 'engine.rpm' },
      { ...volts, field: 'u' },
    ]
    const text = '{"engine":{"rpm":800},"u":"1.5"}\n{"u":2}\n[1]\n{"x":1}\n{"u":true}\nhello\n'
    const { columns, counts } = readAll(text, { lines: { by: 'json' }, channels })
    expect(columns).toEqual([
      [800, Number.NaN],
      [1.5, 2],
    ])
    expect(counts.unreadable).toBe(4)
    expect(counts.firstMisfit).toEqual({ line: 3, text: '[1]', reason: 'no JSON object' })
  })
})

describe('clocks', () => {
  const withClock = (format: string, text: string) =>
    readAll(text, { clock: { field: 3, format }, rate_hz: undefined })

  test('in seconds, milliseconds and microseconds start a file at zero', () => {
    expect(withClock('seconds', '1,1,10.5\n1,1,11\n').timeS).toEqual([0, 0.5])
    expect(withClock('milliseconds', '1,1,1000\n1,1,1250\n').timeS).toEqual([0, 0.25])
    expect(withClock('microseconds', '1,1,0\n1,1,20000\n').timeS).toEqual([0, 0.02])
  })

  test('of the day run over midnight', () => {
    const { timeS, counts } = withClock('clock', '1,1,23:59:59.5\n1,1,00:00:00.25\n1,1,00:01:00\n')
    expect(timeS).toEqual([0, 0.75, 60.5])
    expect(counts.clockJumps).toBe(0)
    expect(withClock('clock', '1,1,01:30.5\n1,1,01:31.5\n').timeS).toEqual([0, 1])
  })

  test('in ISO 8601 heed the zone', () => {
    const { timeS } = withClock('iso8601', '1,1,2024-02-29T23:59:59.500+01:00\n1,1,2024-02-29 23:00:00Z\n')
    expect(timeS[1]).toBeCloseTo(0.5, 6)
  })

  test('that do not read are a misfit, that go back are counted and times still rise', () => {
    const { timeS, counts } = withClock('seconds', '1,1,5\n1,1,5.5\n1,1,noon\n1,1,0\n1,1,0.5\n')
    expect(counts.firstMisfit?.reason).toBe('"noon" is no time of the format seconds')
    expect(counts.clockJumps).toBe(1)
    expect(timeS).toEqual([0, 0.5, 1, 1.5])
  })

  test('lie on the arrival clock when live, without its jitter', () => {
    const timeS: number[] = []
    const map = mapOf({ clock: { field: 3, format: 'milliseconds' }, rate_hz: undefined })
    const emit = { block: (block: SampleBlock) => timeS.push(...block.timeS.subarray(0, block.count)) }
    const reader = createLineMapReader(map, { emit })
    for (let i = 0; i < 50; i++) reader.push(utf8Bytes(`1,1,${i * 100}\n`), 100 + i * 0.1 + (i % 5) * 0.02)
    for (let i = 1; i < 50; i++) expect(timeS[i] - timeS[i - 1]).toBeCloseTo(0.1, 2)
    expect(timeS[0]).toBeCloseTo(100, 6)
  })

  test('without clock and rate a live sample has the time of its arrival', () => {
    const timeS: number[] = []
    const emit = { block: (block: SampleBlock) => timeS.push(...block.timeS.subarray(0, block.count)) }
    const reader = createLineMapReader(mapOf({ rate_hz: undefined }), { emit })
    reader.push(utf8Bytes('1,1\n'), 3.5)
    reader.push(utf8Bytes('1,1\n'), 4.25)
    expect(timeS).toEqual([3.5, 4.25])
  })
})

describe('transfers', () => {
  const through = (channel: object, text: string) =>
    readAll(text, { channels: [{ field: 1, channel: 'a', unit: 'kPa', ...channel }] }).columns[0]

  test('linear is scale and offset', () => {
    expect(through({ transfer: { type: 'linear', scale: 20, offset: -10 } }, '0.5\n4.5\n')).toEqual([0, 80])
  })

  test('a table is straight between its points and no reading outside', () => {
    const points = [
      [0, 10],
      [1, 20],
      [3, 0],
    ]
    const read = through({ transfer: { type: 'table', points } }, '-0.1\n0\n0.5\n1\n2\n3\n3.1\n')
    expect(read).toEqual([Number.NaN, 10, 15, 20, 10, 0, Number.NaN])
  })

  test('a thermistor reads from ohms, and from volts with its divider', () => {
    const model = { beta: 3500, r0_ohm: 2500, t0_C: 25 }
    const coolant = { channel: 'coolant', unit: 'C' }
    expect(through({ ...coolant, transfer: { type: 'thermistor', model } }, '2500\n')[0]).toBeCloseTo(25, 5)
    const divider = { supply_V: 5, fixed_ohm: 2500 }
    const read = through({ ...coolant, transfer: { type: 'thermistor', model, divider } }, '2.5\n5\n0\n')
    expect(read[0]).toBeCloseTo(25, 5)
    expect(read.slice(1)).toEqual([Number.NaN, Number.NaN])
  })
})

describe('checksums', () => {
  test('are checked over the text between start and separator, whatever the rule', () => {
    const body = '800,1.5'
    const bytes = [...utf8Bytes(body)]
    const hex = (value: number, digits: number) => value.toString(16).padStart(digits, '0')
    const sums = {
      xor: hex(
        bytes.reduce((a, b) => a ^ b, 0),
        2,
      ),
      sum: hex(
        bytes.reduce((a, b) => (a + b) & 0xff, 0),
        2,
      ),
      crc16: hex(crc16(body), 4),
    }
    for (const [rule, digits] of Object.entries(sums)) {
      const checksum = { rule, separator: '*', start: '$' }
      const text = `$${body}*${digits}\r\n$900,1.5*${digits}\n${body}\n$${body}*${digits.toUpperCase()}\n`
      const { columns, counts } = readAll(text, { checksum })
      expect(columns[0]).toEqual([800, 800])
      expect(counts.badChecksum).toBe(2)
      expect(counts.unreadable).toBe(0)
      expect(counts.firstMisfit?.line).toBe(2)
    }
  })
})

describe('properties', () => {
  test('any bytes, cut anywhere, give the same samples and counts, and nothing throws', () => {
    const piece = fc.oneof(
      fc.constantFrom('800,1.5\n', '900,2.5\r\n', '#x\n', ',\n', '1,2,3\n', 'RPM,V\n', '\n'),
      fc.uint8Array({ maxLength: 40 }).map((bytes) => String.fromCharCode(...bytes)),
    )
    fc.assert(
      fc.property(
        fc.array(piece, { maxLength: 40 }),
        fc.infiniteStream(fc.integer({ min: 1, max: 30 })),
        (pieces, cuts) => {
          const bytes = Uint8Array.from(pieces.join(''), (character) => character.charCodeAt(0))
          const whole = readAll(bytes, { comments: ['#'] })
          const rows: number[][] = []
          const emit = {
            block(block: SampleBlock) {
              for (let i = 0; i < block.count; i++)
                rows.push([block.timeS[i], ...block.columns.map((column) => column[i])])
            },
          }
          const reader = createLineMapReader(mapOf({ comments: ['#'] }), { timing: 'file', emit })
          for (let at = 0; at < bytes.length; ) {
            const length = cuts.next().value as number
            reader.push(bytes.subarray(at, at + length), 0)
            at += length
          }
          reader.flush()
          expect(reader.counts).toEqual(whole.counts)
          expect(rows).toEqual(
            whole.timeS.map((timeS, i) => [timeS, ...whole.columns.map((column) => column[i])]),
          )
          const { lines, fitting, passedOver, unreadable, badChecksum } = reader.counts
          expect(fitting + passedOver + unreadable + badChecksum).toBe(lines)
        },
      ),
    )
  })

  test('numbers written with either decimal mark come back', () => {
    const number = fc.double({ min: -1e6, max: 1e6, noNaN: true }).map((value) => Math.fround(value))
    fc.assert(
      fc.property(number, fc.constantFrom('.', ','), (value, decimal) => {
        const text = `${String(value).replace('.', decimal)};0\n`
        const { columns } = readAll(text, { decimal, lines: { by: 'divider', divider: ';' } })
        expect(columns[0][0]).toBe(value === 0 ? 0 : value)
      }),
    )
  })
})

describe('parseFieldNumber', () => {
  test('gives the very number of any decimal, with either mark', () => {
    const decimal = fc.tuple(
      fc.constantFrom('', '-', '+'),
      fc.stringMatching(/^\d{0,12}$/),
      fc.stringMatching(/^\d{0,12}$/),
      fc.boolean(),
      fc.constantFrom('', 'e3', 'E-2'),
    )
    fc.assert(
      fc.property(decimal, ([sign, whole, part, hasMark, power]) => {
        fc.pre(whole + part !== '' && (hasMark || part === ''))
        const text = `${sign}${whole}${hasMark ? '.' : ''}${part}${power}`
        expect(parseFieldNumber(text, '.')).toBe(Number(text))
        expect(parseFieldNumber(text.replace('.', ','), ',')).toBe(Number(text))
      }),
      { seed: 7, numRuns: 2000 },
    )
  })

  test.each(['', '-', '.', '1.2.3', '1,2', '0x10', '1 2', 'NaN', 'Infinity', '--1', '1e', '１'])(
    'refuses "%s"',
    (text) => {
      expect(parseFieldNumber(text, '.')).toBeNaN()
    },
  )
})

describe('a header whose name begins as a number does', () => {
  test('is known as a header, first and later', () => {
    const map = {
      channels: [
        { ...speed, field: '1st' },
        { ...volts, field: 'volts' },
      ],
    }
    const { counts, columns } = readAll('1st,volts\n900,1\nvolts,1st\n2,910\n', map)
    expect(counts).toMatchObject({ headers: 2, samples: 2, unreadable: 0 })
    expect(columns).toEqual([
      [900, 910],
      [1, 2],
    ])
  })
})
