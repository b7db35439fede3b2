import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { CaptureError } from '../../core/capture/captureError.ts'
import { createCaptureScanner } from '../../core/capture/captureScanner.ts'
import { escapeBytes, unescapeBytes } from '../../core/capture/escape.ts'
import { type CaptureKind, captureHeader, formatCaptureLine } from '../../core/capture/formatCapture.ts'
import { scanCapture } from '../../core/capture/scanCapture.ts'
import type { LineDecoder } from '../../core/line/lineDecoder.ts'
import {
  at,
  channelLine,
  decodeScript,
  identityLine,
  type ScriptLine,
  sampleLines,
} from '../support/boardScript.ts'

const start = { type: 'start', at: '2026-05-09T10:00:00+02:00', car: 'marigold', sources: [{ source: 0 }] }

function file(...lines: string[]): Uint8Array {
  return Buffer.from(`${captureHeader}\n${lines.join('')}`, 'latin1')
}

function boardLines(script: readonly ScriptLine[], lineEnd = ''): string[] {
  return script.map(({ arrivalS, text }) =>
    formatCaptureLine(arrivalS, '<0', Buffer.from(text + lineEnd, 'latin1')),
  )
}

const declared = [at(0, identityLine), at(0, channelLine(0))]

describe('formatCaptureLine', () => {
  it('writes time with six decimals, kind and escaped payload', () => {
    expect(formatCaptureLine(-0.25, '<0', Buffer.from('a\\b\u0000\u00ff\n', 'latin1'))).toBe(
      '-0.250000 <0 a\\\\b\\x00\\xFF\\x0A\n',
    )
    expect(formatCaptureLine(12, '=', { type: 'mark', label: 'λ "x"' })).toBe(
      '12.000000 = {"type":"mark","label":"\\xCE\\xBB \\\\"x\\\\""}\n',
    )
  })

  it('refuses an unknown kind and a time that cannot be written', () => {
    expect(() => formatCaptureLine(0, '?' as CaptureKind, '')).toThrow(/\?/)
    expect(() => formatCaptureLine(Number.NaN, '=', {})).toThrow(RangeError)
    expect(() => formatCaptureLine(1e12, '=', {})).toThrow(RangeError)
  })
})

describe('escapeBytes and unescapeBytes', () => {
  it('take a line of any length', () => {
    const bytes = new Uint8Array(1_000_000).fill(0x41)
    expect(escapeBytes(bytes)).toBe('A'.repeat(bytes.length))
  })

  it('are each other’s inverse for any bytes, in printable ASCII', () => {
    fc.assert(
      fc.property(fc.uint8Array(), (bytes) => {
        const text = escapeBytes(bytes)
        expect(text).toMatch(/^[ -~]*$/)
        expect(unescapeBytes(text)).toEqual(bytes)
      }),
    )
  })

  it('leave a backslash that begins no escape as it is', () => {
    expect(Buffer.from(unescapeBytes('\\n \\x4 \\xzz \\x41 \\')).toString()).toBe('\\n \\x4 \\xzz A \\')
  })
})

describe('scanCapture', () => {
  it('reads a capture as it was written, whatever bytes the lines hold', () => {
    const time = fc.integer({ min: -30_000_000, max: 2_000_000_000 }).map((micros) => micros / 1e6)
    const line = fc.record({ timeS: time, source: fc.integer({ min: 1, max: 9 }), bytes: fc.uint8Array() })
    const note = fc.record({ timeS: time, text: fc.string({ unit: 'grapheme', maxLength: 40 }) })
    fc.assert(
      fc.property(fc.array(line), fc.array(note), fc.array(note), (lines, notes, notices) => {
        const scanned = scanCapture(
          file(
            ...lines.map(({ timeS, source, bytes }) => formatCaptureLine(timeS, `<${source}`, bytes)),
            ...notes.map(({ timeS, text }) => formatCaptureLine(timeS, '=', { type: 'note', text })),
            ...notices.map(({ timeS, text }) => formatCaptureLine(timeS, '!', { source: 0, what: text })),
            ...lines.map(({ timeS, source, bytes }) => formatCaptureLine(timeS, `>${source}`, bytes)),
          ),
        )
        const texts = lines.map(({ timeS, source, bytes }) => ({
          source,
          timeS,
          text: Buffer.from(bytes).toString('latin1'),
        }))
        expect(scanned.lines).toEqual(texts)
        expect(scanned.sent).toEqual(texts)
        expect(scanned.records).toEqual(
          notes.map(({ timeS, text }) => ({ timeS, record: { type: 'note', text } })),
        )
        expect(scanned.notices).toEqual(
          notices.map(({ timeS, text }) => ({ timeS, notice: { source: 0, what: text } })),
        )
        expect(scanned).toMatchObject({ tornEnd: false, capture: { corruptLines: 0, invalidRecords: 0 } })
      }),
    )
  })

  it('gives the samples that the board decoder gives live', () => {
    const lines = sampleLines(3000, { values: (i) => [i % 7 === 0 ? Number.NaN : i] })
    lines[70].text = `\u0000\u00f3${lines[70].text}`
    lines[90].text = lines[90].text.slice(0, 9)
    const script = [...declared, ...lines]
    const live = decodeScript(script)
    for (const lineEnd of ['', '\r']) {
      const scanned = scanCapture(file(...boardLines(script, lineEnd)))
      expect(scanned.counts).toEqual(live.counts)
      expect(scanned.segments).toHaveLength(1)
      expect([...scanned.segments[0].timeS]).toEqual(live.segments[0].timeS)
      expect([...scanned.segments[0].columns[0]]).toEqual(live.segments[0].columns[0])
      expect(scanned.identities).toEqual(live.identities)
    }
    expect(live.counts).toMatchObject({ samples: 2998, missingSamples: 2 })
  })

  it('reads a run that begins before the button, at negative times', () => {
    const script = [...declared, ...sampleLines(100)].map(({ arrivalS, text }) => at(arrivalS - 30, text))
    const { segments, startS, endS } = scanCapture(file(...boardLines(script)))
    expect(segments[0].timeS[0]).toBeCloseTo(-29.998, 6)
    expect([startS, endS]).toEqual([-30, -29.008])
  })

  it('takes no damaged time for the end', () => {
    const lines = boardLines([...declared, ...sampleLines(40)])
    const { endS } = scanCapture(file(...lines))
    const damaged = lines.with(20, lines[20].replace(/^\d+/, '670000'))
    expect(scanCapture(file(...damaged)).endS).toBe(endS)
  })

  it('drops a torn last line at every place it can be torn, and says so', () => {
    const lines = [formatCaptureLine(0, '=', start), ...boardLines([...declared, ...sampleLines(5)])]
    const whole = file(...lines)
    expect(scanCapture(whole).tornEnd).toBe(false)
    let lastSamples = 0
    for (let length = captureHeader.length + 1; length < whole.length; length++) {
      const { tornEnd, counts, capture } = scanCapture(whole.subarray(0, length))
      expect(tornEnd).toBe(whole[length - 1] !== 10)
      expect(capture.corruptLines).toBe(0)
      expect(counts.badChecksum).toBe(0)
      expect(counts.samples).toBeGreaterThanOrEqual(lastSamples)
      lastSamples = counts.samples
    }
    expect(lastSamples).toBe(4)
  })

  it('takes a header that was torn for an empty capture', () => {
    for (let length = 1; length <= captureHeader.length; length++) {
      const scanned = scanCapture(Buffer.from(captureHeader.slice(0, length)))
      expect(scanned).toMatchObject({ tornEnd: true, startS: Number.NaN, counts: { lines: 0 } })
    }
  })

  it('counts corrupt lines in the middle, names the first, and reads the rest', () => {
    const good = boardLines([...declared, ...sampleLines(20)])
    good.splice(
      5,
      0,
      'zzzz\n',
      '1.5\n',
      '1.5 \n',
      '1.5 ?0 x\n',
      '1.5 < x\n',
      '\n',
      '1..5 <0 x\n',
      '\u0000\u0000\n',
    )
    good.splice(20, 0, `1 <0 ${'q'.repeat(1_100_000)}\n`, `${'w'.repeat(1_100_000)}\n`)
    const { capture, counts, tornEnd } = scanCapture(file(...good))
    expect(capture).toMatchObject({
      lines: 32,
      corruptLines: 9,
      invalidRecords: 0,
      firstProblem: { lineNumber: 7, text: expect.stringContaining('time') },
    })
    expect(counts).toMatchObject({ samples: 20, unreadable: 1, missingSamples: 0 })
    expect(tornEnd).toBe(false)
  })

  it('keeps known records that fit, passes unknown ones, and counts and names the others', () => {
    const { records, capture } = scanCapture(
      file(
        formatCaptureLine(0, '=', start),
        formatCaptureLine(1, '=', { type: 'mark' }),
        formatCaptureLine(2, '=', { type: 'note' }),
        formatCaptureLine(3, '=', { type: 'tyre_pressure', kPa: 200 }),
        '4.000000 = {"type":"note","te\n',
        '5.000000 = [1]\n',
        formatCaptureLine(6, '=', { label: 'x' }),
        formatCaptureLine(7, '!', 'null'),
        formatCaptureLine(8, '=', { type: 'stop', reason: 'button' }),
      ),
    )
    expect(records).toEqual([
      { timeS: 0, record: start },
      { timeS: 1, record: { type: 'mark', label: '' } },
      { timeS: 3, record: { type: 'tyre_pressure', kPa: 200 } },
      { timeS: 8, record: { type: 'stop', reason: 'button' } },
    ])
    expect(capture.invalidRecords).toBe(5)
    expect(capture.firstProblem).toEqual({ lineNumber: 4, text: expect.stringMatching(/note record, text/) })
  })

  it('reads a file that an editor saved with a byte order mark and its own line ends', () => {
    const plain = Buffer.from(file(...boardLines([...declared, ...sampleLines(20)]))).toString('latin1')
    const saved = Buffer.from(`\xef\xbb\xbf${plain.replaceAll('\n', '\r\n')}`, 'latin1')
    for (let cut = 1; cut <= 8; cut++) {
      const counted = { samples: 0 }
      const scanner = createCaptureScanner({
        emit: {
          block: ({ count }) => {
            counted.samples += count
          },
        },
      })
      scanner.push(saved.subarray(0, cut))
      scanner.push(saved.subarray(cut))
      scanner.end()
      expect([cut, counted.samples]).toEqual([cut, 20])
    }
  })

  it('reads records that were typed by hand, without escapes', () => {
    const typed = Buffer.from(
      `${captureHeader}\r\n1 = {"type":"note","text":"caf\u00e9 \\"x\\""}\n`.replace('\r', ''),
    )
    expect(scanCapture(typed).records).toEqual([{ timeS: 1, record: { type: 'note', text: 'café "x"' } }])
  })

  it('never mixes another source’s lines with the board’s', () => {
    const nmea = '$GPRMC,100000.00,A,5130.0,N,00000.0,W,0.0,0.0,090526,,*1D'
    const script = boardLines([...declared, ...sampleLines(30)])
    script.splice(10, 0, formatCaptureLine(0.05, '<1', nmea), formatCaptureLine(0.06, '>0', 'R,100'))
    const { lines, sent, counts, segments } = scanCapture(file(...script))
    expect(lines).toEqual([{ source: 1, timeS: 0.05, text: nmea }])
    expect(sent).toEqual([{ source: 0, timeS: 0.06, text: 'R,100' }])
    expect(counts).toMatchObject({ lines: 32, samples: 30, unreadable: 0 })
    expect(segments).toHaveLength(1)
  })

  it('starts a new segment of whole columns with each changed declaration', () => {
    const { segments } = scanCapture(
      file(
        ...boardLines([
          ...declared,
          ...sampleLines(2000),
          at(20, channelLine(0, 'other')),
          ...sampleLines(1500, { from: 2000 }),
        ]),
      ),
    )
    expect(segments.map(({ segment, timeS, channels }) => [segment, timeS.length, channels[0].name])).toEqual(
      [
        [0, 2000, 'ch0'],
        [1, 1500, 'other'],
      ],
    )
  })

  it.each([
    ['nothing', '', 'empty'],
    ['a table', 'time,afr\n1,2\n', 'not_a_capture'],
    ['a long line without an end', 'x'.repeat(5000), 'not_a_capture'],
    ['binary', '\u0000\u0001\u0002', 'not_a_capture'],
    ['a packed file', '\u001f\u008b\u0008\u0000', 'not_a_capture'],
    ['a wrong version word', 'floatbowl-capture one\n', 'not_a_capture'],
    ['version 0', 'floatbowl-capture 0\n', 'not_a_capture'],
    ['an endless header', `floatbowl-capture ${'1'.repeat(200)}`, 'not_a_capture'],
    ['a newer version', 'floatbowl-capture 2\n', 'newer_version'],
  ])('refuses %s with a code and what to do', (_what, text, code) => {
    const bytes = Buffer.from(text, 'latin1')
    expect(codeOf(() => scanCapture(bytes))).toBe(code)
    expect(
      codeOf(() => {
        const scanner = createCaptureScanner({ emit: { block: () => {} } })
        for (const byte of bytes) scanner.push(Uint8Array.of(byte))
        scanner.end()
      }),
    ).toBe(code)
  })

  it('tells of a packed file that it is one', () => {
    expect(() => scanCapture(Uint8Array.of(0x1f, 0x8b, 8, 0))).toThrow(/gzip/)
  })

  it('never throws anything but a CaptureError for any bytes behind a header', () => {
    const byte = fc.oneof(fc.constantFrom(...Buffer.from('0123456789.-<>=!\\x \n\nS,*{}"')), fc.nat(255))
    fc.assert(
      fc.property(fc.array(byte, { maxLength: 300 }), (bytes) => {
        const scanned = scanCapture(Buffer.concat([file(), Uint8Array.from(bytes)]))
        expect(scanned.capture.corruptLines).toBeLessThanOrEqual(scanned.capture.lines)
      }),
      { numRuns: 300 },
    )
  })
})

describe('createCaptureScanner', () => {
  const script = boardLines([...declared, ...sampleLines(20, { values: (i) => [i] })])
  script.splice(
    8,
    0,
    formatCaptureLine(0.05, '=', { type: 'mark', label: 'stumble "here" λ' }),
    formatCaptureLine(0.06, '<1', '$GP\u0000'),
    formatCaptureLine(0.07, '<0', Uint8Array.of(0, 255, 92, 13)),
    formatCaptureLine(0.08, '!', { source: 0, what: 'lost' }),
  )
  const bytes = file(formatCaptureLine(0, '=', start), ...script, 'torn')

  function scanCut(cuts: number[]): unknown[] {
    const items: unknown[] = []
    let timeS: number[] = []
    const flush = () => {
      if (timeS.length > 0) items.push(timeS)
      timeS = []
    }
    const other = (item: unknown) => {
      flush()
      items.push(item)
    }
    const scanner = createCaptureScanner({
      emit: {
        block: (block) => timeS.push(...block.timeS.subarray(0, block.count)),
        identity: other,
        event: other,
        record: other,
        notice: other,
        line: (...line) => other(line),
      },
    })
    const edges = [0, ...cuts.toSorted((a, b) => a - b), bytes.length]
    for (let i = 1; i < edges.length; i++) scanner.push(bytes.slice(edges[i - 1], edges[i]))
    const end = scanner.end()
    flush()
    items.push(end)
    return items
  }

  it('gives the same items in the same order when cut at any byte', () => {
    const whole = scanCut([])
    // Start, identity, samples, mark, position, notice, samples, end.
    expect(whole).toHaveLength(8)
    for (let cut = 1; cut < bytes.length; cut++) expect(scanCut([cut])).toEqual(whole)
    expect(scanCut(Array.from(bytes.keys()))).toEqual(whole)
    fc.assert(
      fc.property(fc.array(fc.nat(bytes.length), { maxLength: 30 }), (cuts) => {
        expect(scanCut(cuts)).toEqual(whole)
      }),
    )
  })

  it('feeds a source’s lines to the decoder that is chosen for it, told of the sources', () => {
    const heard: string[] = []
    const chosen: unknown[] = []
    const scanner = createCaptureScanner({
      emit: { block: () => {} },
      decoderOf(source, sources): LineDecoder | undefined {
        chosen.push([source, sources])
        if (source !== 1) return undefined
        return {
          line: (line, from, to, arrivalS) =>
            heard.push(`${arrivalS} ${Buffer.from(line.slice(from, to)).toString()}`),
          emitBlock: () => {},
          flush: () => heard.push('flush'),
          counts: scanCapture(file()).counts,
        }
      },
    })
    scanner.push(
      file(
        formatCaptureLine(0, '=', start),
        formatCaptureLine(1, '<1', 'one'),
        formatCaptureLine(2, '<0', 'zero'),
        formatCaptureLine(3, '<1', 'two'),
      ),
    )
    scanner.end()
    expect(heard).toEqual(['1 one', '3 two', 'flush'])
    expect(chosen).toEqual([
      [1, [{ source: 0 }]],
      [0, [{ source: 0 }]],
    ])
  })
})

function codeOf(action: () => unknown): string {
  try {
    action()
  } catch (error) {
    if (error instanceof CaptureError) return error.code
    throw error
  }
  return 'none'
}
