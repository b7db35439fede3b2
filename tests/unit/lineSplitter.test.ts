import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { createRawLines, longestRawLineBytes } from '../../bridge/source/rawLines.ts'
import { createLineSplitter } from '../../core/line/lineSplitter.ts'

function split(pieces: Uint8Array[]): string[] {
  const lines: string[] = []
  const splitter = createLineSplitter({
    line: (bytes, start, end) => lines.push(Buffer.from(bytes.slice(start, end)).toString('latin1')),
  })
  for (const piece of pieces) splitter.push(piece, 0)
  splitter.flush(0)
  return lines
}

function bytesOf(text: string): Uint8Array {
  return Buffer.from(text, 'latin1')
}

describe('createLineSplitter', () => {
  it('hands on lines without their LF, empty ones and the unfinished last one too', () => {
    expect(split([bytesOf('ab\n\nc\r\nrest')])).toEqual(['ab', '', 'c\r', 'rest'])
  })

  it('gives the same lines when cut at any byte', () => {
    const text = `one\n${'x'.repeat(251)}\n${'y'.repeat(252)}\n${'z'.repeat(800)}\n\r\nlast`
    const whole = split([bytesOf(text)])
    expect(whole.map((line) => line.length)).toEqual([3, 251, 251, 1, 251, 251, 251, 47, 1, 4])
    for (let cut = 0; cut <= text.length; cut++) {
      expect(split([bytesOf(text.slice(0, cut)), bytesOf(text.slice(cut))])).toEqual(whole)
    }
    expect(split([...text].map(bytesOf))).toEqual(whole)
  })

  it('loses no byte of any input', () => {
    const byte = fc.oneof(fc.constant(10), fc.nat(255))
    fc.assert(
      fc.property(fc.array(fc.array(byte, { maxLength: 600 }), { maxLength: 6 }), (pieces) => {
        const kept = split(pieces.map((piece) => Uint8Array.from(piece))).join('')
        const expected = bytesOf(Buffer.from(pieces.flat()).toString('latin1').replaceAll('\n', ''))
        expect(kept).toBe(Buffer.from(expected).toString('latin1'))
      }),
    )
  })

  it('gives a line the arrival of the push that brought its end', () => {
    const seen: [string, number][] = []
    const splitter = createLineSplitter({
      line: (bytes, start, end, arrivalS) =>
        seen.push([Buffer.from(bytes.slice(start, end)).toString(), arrivalS]),
    })
    splitter.push(bytesOf('a\nb'), 1)
    splitter.push(bytesOf('c\nd\n'), 2)
    expect(seen).toEqual([
      ['a', 1],
      ['bc', 2],
      ['d', 2],
    ])
  })
})

describe('createRawLines', () => {
  it('cuts what has no end at its own bound and loses no byte', () => {
    const pieces: string[] = []
    const lines = createRawLines((line) => pieces.push(Buffer.from(line).toString('latin1')))
    const text = `ab\r\n${'x'.repeat(longestRawLineBytes)}\n${'y'.repeat(longestRawLineBytes * 2 + 3)}`
    for (const character of text) lines.push(bytesOf(character), 0)
    lines.flush(1)
    expect(pieces.map((piece) => piece.length)).toEqual([3, 512, 512, 512, 3])
    expect(pieces.join('')).toBe(text.replaceAll('\n', ''))
  })
})
