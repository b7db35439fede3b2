import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { BoardLine } from '../../core/line/boardLine.ts'
import { crc16, crc16Range } from '../../core/line/crc16.ts'
import { decodeLine } from '../../core/line/decodeLine.ts'
import { encodeLine } from '../../core/line/encodeLine.ts'
import { decodeTextField, encodeTextField } from '../../core/line/percentText.ts'
import { utf8Bytes, utf8Text } from '../../core/line/utf8.ts'

/** Checksum bit by bit, as the catalogue defines it. */
function slowCrc(bytes: Uint8Array): number {
  let register = 0xffff
  for (const byte of bytes) {
    register ^= byte << 8
    for (let bit = 0; bit < 8; bit++) {
      register = register & 0x8000 ? ((register << 1) ^ 0x1021) & 0xffff : (register << 1) & 0xffff
    }
  }
  return register
}

/** A line with its right checksum, whatever the body. */
function sealed(body: string): string {
  return `${body}*${crc16(body).toString(16).toUpperCase().padStart(4, '0')}`
}

const text = fc.string({ unit: 'grapheme', maxLength: 8 })
const word = fc.string({ unit: 'grapheme', minLength: 1, maxLength: 8 })
/** Any character that stands alone, the longest in UTF-8 too. */
const codePoint = fc.integer({ min: 0, max: 0x10ffff }).filter((code) => code < 0xd800 || code > 0xdfff)
const uint32 = fc.integer({ min: 0, max: 0xffffffff })
const finite = fc.double({ noNaN: true, noDefaultInfinity: true }).map((value) => (value === 0 ? 0 : value))
const anyLine: fc.Arbitrary<BoardLine> = fc.oneof(
  fc.record({
    kind: fc.constant('identity' as const),
    version: fc.integer({ min: 1, max: 65535 }),
    boardName: text,
    firmware: text,
    uniqueId: text,
    ticksPerSecond: uint32,
  }),
  fc.record({
    kind: fc.constant('channel' as const),
    index: fc.integer({ min: 0, max: 255 }),
    name: word,
    unit: text,
    scale: finite,
    offset: finite,
  }),
  fc.record({
    kind: fc.constant('sample' as const),
    seq: fc.integer({ min: 0, max: 65535 }),
    tick: uint32,
    values: fc.array(
      fc.oneof(fc.constant(Number.NaN), fc.integer({ min: -99_999_999_999, max: 99_999_999_999 })),
      { maxLength: 16 },
    ),
  }),
  fc.record({ kind: fc.constant('event' as const), tick: uint32, code: word, text }),
  fc.record({ kind: fc.constant('answer' as const), command: text, ok: fc.boolean(), text }),
)

describe('crc16', () => {
  it('gives the catalogue check value 29B1 for "123456789"', () => {
    expect(crc16('123456789')).toBe(0x29b1)
    expect(crc16(Uint8Array.from([0x31, 0x32, 0x33, 0x34, 0x35, 0x36, 0x37, 0x38, 0x39]))).toBe(0x29b1)
  })

  it('gives the initial value for no byte', () => {
    expect(crc16('')).toBe(0xffff)
  })

  it('equals the bitwise definition for any bytes and any part of them', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 60 }), fc.nat(20), (bytes, start) => {
        const from = Math.min(start, bytes.length)
        expect(crc16Range(bytes, from, bytes.length)).toBe(slowCrc(bytes.subarray(from)))
      }),
    )
  })

  it('refuses a text with a character that is no byte', () => {
    expect(() => crc16('λ')).toThrow(RangeError)
  })
})

describe('encodeLine', () => {
  it('writes the lines of the format as typed by hand', () => {
    expect(
      encodeLine({
        kind: 'identity',
        version: 1,
        boardName: 'bench board',
        firmware: '0.3',
        uniqueId: '7f3a',
        ticksPerSecond: 1_000_000,
      }),
    ).toBe(sealed('I,1,bench board,0.3,7f3a,1000000'))
    expect(
      encodeLine({ kind: 'channel', index: 0, name: 'pump_current', unit: 'mA', scale: 0.001, offset: 0 }),
    ).toBe(sealed('C,0,pump_current,mA,0.001,0'))
    expect(encodeLine({ kind: 'sample', seq: 17, tick: 420000, values: [-12, Number.NaN, 300] })).toBe(
      sealed('S,17,420000,-12,,300'),
    )
    expect(encodeLine({ kind: 'event', tick: 5, code: 'heater_open', text: 'a,b*c%' })).toBe(
      sealed('E,5,heater_open,a%2Cb%2Ac%25'),
    )
    expect(encodeLine({ kind: 'answer', command: 'Z', ok: false, text: 'hot\n' })).toBe(
      sealed('A,Z,error,hot%0A'),
    )
  })

  it('refuses numbers that do not fit their field, with the value in the message', () => {
    const sample = { kind: 'sample', seq: 0, tick: 0, values: [1] } as const
    expect(() => encodeLine({ ...sample, seq: 65536 })).toThrow(/65536/)
    expect(() => encodeLine({ ...sample, tick: -1 })).toThrow(RangeError)
    expect(() => encodeLine({ ...sample, values: [1.5] })).toThrow(/1\.5/)
    expect(() =>
      encodeLine({ kind: 'channel', index: 0, name: 'x', unit: '1', scale: Number.NaN, offset: 0 }),
    ).toThrow(/scale/)
  })

  it('refuses a line of more than 250 bytes', () => {
    const values = new Array(40).fill(1_000_000)
    expect(() => encodeLine({ kind: 'sample', seq: 0, tick: 0, values })).toThrow(/250/)
  })
})

describe('decodeLine', () => {
  it('gives back whatever encodeLine wrote', () => {
    fc.assert(
      fc.property(anyLine, (record) => {
        let line: string
        try {
          line = encodeLine(record)
        } catch (error) {
          // Only its length may stop a valid record from being written.
          expect(String(error)).toContain('250')
          return
        }
        expect(line.length).toBeLessThanOrEqual(250)
        expect(decodeLine(line)).toEqual(record)
        expect(decodeLine(`${line}\r\n`)).toEqual(record)
        expect(decodeLine(utf8Bytes(line))).toEqual(record)
      }),
    )
  })

  it('never throws for any bytes', () => {
    fc.assert(
      fc.property(fc.uint8Array({ maxLength: 300 }), (bytes) => {
        expect(decodeLine(bytes)).toHaveProperty('kind')
      }),
    )
  })

  it('never throws for any body with a right checksum', () => {
    const byte = fc.constantFrom(...'SICEA,,,,-+.0159e%*\u00e9 '.split(''))
    fc.assert(
      fc.property(fc.array(byte, { maxLength: 40 }), (body) => {
        expect(decodeLine(sealed(body.join('')))).toHaveProperty('kind')
      }),
      { numRuns: 1000 },
    )
  })

  it('finds every single flipped bit', () => {
    const good = utf8Bytes(encodeLine({ kind: 'sample', seq: 17, tick: 420000, values: [-12, 300] }))
    for (let bit = 0; bit < good.length * 8; bit++) {
      const hurt = good.slice()
      hurt[bit >> 3] ^= 1 << (bit & 7)
      expect(decodeLine(hurt), `bit ${bit}`).toEqual({ kind: 'bad', reason: 'bad_checksum' })
    }
  })

  it('refuses a checksum in lower case', () => {
    const line = sealed('S,1,2,3')
    expect(line).toMatch(/[A-F]/)
    expect(decodeLine(line.toLowerCase().replace('s', 'S'))).toEqual({ kind: 'bad', reason: 'bad_checksum' })
  })

  it.each([
    ['a decimal number', 'S,1,2,3.5'],
    ['a plus sign', 'S,1,2,+3'],
    ['a lone minus', 'S,1,2,-'],
    ['a minus behind digits', 'S,1,2,3-'],
    ['a sequence number above 65535', 'S,65536,2,3'],
    ['a tick above 32 bit', 'S,1,4294967296,3'],
    ['an empty tick', 'S,1,,3'],
    ['an empty sequence number', 'S,,1,3'],
    ['a sequence number alone', 'S,1'],
    ['a number of sixteen digits', 'S,1,2,1234567890123456'],
    ['a channel without a name', 'C,0,,mA,1,0'],
    ['a scale that is no number', 'C,0,x,mA,one,0'],
    ['an endless scale', 'C,0,x,mA,1e999,0'],
    ['a hexadecimal scale', 'C,0,x,mA,0x10,0'],
    ['a channel index that is too large', 'C,256,x,mA,1,0'],
    ['an identity without ticks', 'I,1,board,0.3,7f3a'],
    ['an answer that is neither ok nor error', 'A,Z,maybe,x'],
    ['an unknown letter', 'Q,1,2'],
    ['nothing at all', ''],
  ])('takes %s for unreadable though the checksum holds', (_what, body) => {
    expect(decodeLine(sealed(body))).toEqual({ kind: 'bad', reason: 'unreadable' })
  })

  it.each([
    ['a torn line', 'S,17,4200'],
    ['a line whose letter was hit', `${sealed('S,17,420000,1').replace('S', 'W')}`],
    ['a line without its star', sealed('S,17,420000,1').replace('*', ' ')],
  ])('takes %s for damaged', (_what, line) => {
    expect(decodeLine(line)).toEqual({ kind: 'bad', reason: 'bad_checksum' })
  })

  it.each([
    ['noise', '\u0000\u00ff\u0012xx'],
    ['plain prose', 'hello there'],
    ['a good line of 251 bytes', sealed(`E,1,x,${'y'.repeat(251 - 11)}`)],
  ])('takes %s for unreadable', (_what, line) => {
    expect(decodeLine(line)).toEqual({ kind: 'bad', reason: 'unreadable' })
  })

  it('reads a line of exactly 250 bytes', () => {
    const line = sealed(`E,1,x,${'y'.repeat(250 - 11)}`)
    expect(line.length).toBe(250)
    expect(decodeLine(line)).toMatchObject({ kind: 'event', code: 'x' })
  })

  it('reads an empty field as no reading, zero and minus zero as zero', () => {
    expect(decodeLine(sealed('S,0,0,,0,-0,007'))).toEqual({
      kind: 'sample',
      seq: 0,
      tick: 0,
      values: [Number.NaN, 0, 0, 7],
    })
  })

  it('reads a sample without values', () => {
    expect(decodeLine(sealed('S,65535,4294967295'))).toEqual({
      kind: 'sample',
      seq: 65535,
      tick: 4294967295,
      values: [],
    })
  })
})

describe('text fields', () => {
  it('keep a percent sign without two hex digits behind it', () => {
    const bytes = utf8Bytes('100%,%4,%zz,%41')
    expect(decodeTextField(bytes, 0, 4)).toBe('100%')
    expect(decodeTextField(bytes, 0, bytes.length)).toBe('100%,%4,%zz,A')
  })

  it('carry any text', () => {
    fc.assert(
      fc.property(fc.string({ unit: 'grapheme' }), (value) => {
        const field = encodeTextField(value)
        expect(field).toMatch(/^[ -~]*$/)
        expect(field).not.toMatch(/[,*]/)
        expect(decodeTextField(utf8Bytes(field), 0, field.length)).toBe(value)
      }),
    )
  })

  it('agree with the platform on UTF-8, wrong bytes included', () => {
    fc.assert(
      fc.property(fc.array(codePoint), (codes) => {
        const value = codes.map((code) => String.fromCodePoint(code)).join('')
        expect([...utf8Bytes(value)]).toEqual([...new TextEncoder().encode(value)])
        expect(utf8Text(utf8Bytes(value))).toBe(value)
      }),
    )
    expect(utf8Text([0x61, 0xff, 0xc3, 0x62])).toBe('a\ufffd\ufffdb')
  })
})
