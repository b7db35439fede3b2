import { describe, expect, it } from 'vitest'
import { decodeStreamFrame, encodeStreamFrame } from '../../core/contract/streamFrame.ts'

const block = {
  source: 1,
  segment: 3,
  channels: [
    { index: 0, name: 'lambda', unit: '1', scale: 0.001, offset: 0 },
    { index: 1, name: 'engine_speed', unit: 'rpm', scale: 1, offset: 0 },
  ],
  count: 2,
  // Longer than count on purpose: only the first two entries may travel.
  timeS: Float64Array.of(1.25, 1.26, 99),
  columns: [Float32Array.of(0.5, Number.NaN, 7), Float32Array.of(800, 810, 7)],
}

describe('stream frame', () => {
  it('comes back as it was packed, with only the counted samples', () => {
    const frame = decodeStreamFrame(encodeStreamFrame(2 ** 40, block).buffer as ArrayBuffer)
    expect(frame.block).toBe(2 ** 40)
    expect(frame.source).toBe(1)
    expect(frame.segment).toBe(3)
    expect([...frame.timeS]).toEqual([1.25, 1.26])
    expect([...frame.columns[0]]).toEqual([0.5, Number.NaN])
    expect([...frame.columns[1]]).toEqual([800, 810])
  })

  it('is refused when cut short, longer than its header says, or something else', () => {
    const bytes = encodeStreamFrame(1, block)
    for (let length = 0; length < bytes.length; length++) {
      expect(() => decodeStreamFrame(bytes.slice(0, length).buffer as ArrayBuffer)).toThrow(RangeError)
    }
    expect(() => decodeStreamFrame(new Uint8Array(100).buffer as ArrayBuffer)).toThrow('not a sample block')
  })
})
