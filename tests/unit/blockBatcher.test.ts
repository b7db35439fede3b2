import { afterEach, beforeEach, describe, expect, it, vi } from 'vitest'
import { createBlockBatcher } from '../../bridge/stream/blockBatcher.ts'
import { createRandom } from '../../simulator/random.ts'

beforeEach(() => {
  vi.useFakeTimers()
})
afterEach(() => {
  vi.useRealTimers()
})

const channels = [{ index: 0, name: 'lambda', unit: '1', scale: 0.001, offset: 0 }]

/** Twenty seconds of a board whose samples come with some jitter: how long each waited for its block, and how many blocks there were. */
function drive(periodMs: number, jitterMs: number) {
  const random = createRandom(7, 'arrivals')
  const arrivalsMs: number[] = []
  const waitsMs: number[] = []
  let blocks = 0
  const batcher = createBlockBatcher(
    (block) => {
      blocks++
      for (let i = 0; i < block.count; i++) waitsMs.push(Date.now() - arrivalsMs[block.columns[0][i]])
    },
    { nowMs: () => Date.now() },
  )
  const startMs = Date.now()
  for (let sample = 0; sample * periodMs < 20_000; sample++) {
    const atMs = startMs + sample * periodMs + random.uniform() * jitterMs
    vi.advanceTimersByTime(Math.max(0, atMs - Date.now()))
    arrivalsMs.push(Date.now())
    batcher.push({
      source: 0,
      segment: 0,
      channels,
      count: 1,
      timeS: Float64Array.of(sample),
      columns: [Float32Array.of(sample)],
    })
  }
  batcher.flush()
  return { blocksPerS: blocks / 20, longestMs: Math.max(...waitsMs), samples: waitsMs.length }
}

describe('the block batcher', () => {
  it('holds no sample of a jittery 100 Hz board for longer than the next two take', () => {
    const { longestMs, blocksPerS, samples } = drive(10, 4)
    expect(samples).toBe(2000)
    expect(longestMs).toBeLessThanOrEqual(2 * 10 + 4 + 1)
    expect(blocksPerS).toBeGreaterThan(30)
    expect(blocksPerS).toBeLessThan(36)
  })

  it.each([1, 2, 5, 10, 16, 20, 30])('sends about 30 blocks a second of samples each %i ms', (periodMs) => {
    const { longestMs, blocksPerS } = drive(periodMs, 0)
    expect(blocksPerS).toBeGreaterThan(27)
    expect(blocksPerS).toBeLessThan(36)
    expect(longestMs).toBeLessThanOrEqual(36)
  })

  it('sends a slow board’s samples as they come', () => {
    const { longestMs, blocksPerS } = drive(50, 5)
    expect(longestMs).toBe(0)
    expect(blocksPerS).toBeCloseTo(20, 0)
  })
})
