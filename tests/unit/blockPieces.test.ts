import { describe, expect, it } from 'vitest'
import type { SampleBlock } from '../../core/contract/samples.ts'
import { blockPieces } from '../../dashboard/worker/blockPieces.ts'

const block = (timeS: number[]): SampleBlock => ({
  source: 0,
  segment: 0,
  channels: [],
  count: timeS.length,
  timeS: Float64Array.from(timeS),
  columns: [Float32Array.from(timeS, (t) => 100 * t)],
})
const cut = (timeS: number[], longestS: number) =>
  [...blockPieces(block(timeS), longestS)].map(({ count, timeS, columns }) => {
    expect([timeS.length, columns[0].length]).toEqual([count, count])
    expect([...columns[0]]).toEqual([...timeS].map((t) => Math.fround(100 * t)))
    return [...timeS]
  })

describe('blockPieces', () => {
  it('gives every sample once, in pieces no longer than asked for', () => {
    expect(cut([0, 0.25, 0.5, 0.75, 1], 0.5)).toEqual([
      [0, 0.25, 0.5],
      [0.75, 1],
    ])
  })

  it('gives samples further apart than a piece may last one by one', () => {
    expect(cut([0, 1, 2], 0.5)).toEqual([[0], [1], [2]])
  })

  it('hands a short block on as it is', () => {
    const short = block([0, 0.01])
    expect([...blockPieces(short, 0.05)]).toEqual([short])
    expect([...blockPieces(short, 0.05)][0]).toBe(short)
    expect(cut([], 0.05)).toEqual([])
  })
})
