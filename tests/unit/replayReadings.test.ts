import { expect, test } from 'vitest'
import type { LiveReading } from '../../core/contract/live.ts'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { ReplayReadings } from '../../dashboard/worker/replayReadings.ts'
import {
  copyBlock,
  createRunItemReader,
  feed,
  type RunItem,
  sliceBlock,
} from '../../dashboard/worker/runItems.ts'
import { findCar, simulateRun } from '../../simulator/index.ts'

const { bytes } = simulateRun({ car: findCar('pebble'), drive: 'traffic', seconds: 60, seed: 7 })
const items: RunItem[] = []
const reader = createRunItemReader((item) =>
  items.push(item.kind === 'block' ? { kind: 'block', block: copyBlock(item.block) } : item),
)
for (let i = 0; i < bytes.length; i += 50_000) reader.push(bytes.subarray(i, i + 50_000))
reader.end()

/** What a live page shows once the samples up to a time have come. */
function liveAt(timeS: number): LiveReading {
  const pipeline = createPipeline({ historyS: 60 })
  for (const item of items) {
    if (item.kind !== 'block') {
      if (item.kind === 'record' && item.timeS > timeS) break
      feed(pipeline, item)
      continue
    }
    let count = 0
    while (count < item.block.count && item.block.timeS[count] <= timeS) count++
    if (count > 0) pipeline.push(sliceBlock(item.block, 0, count))
    if (count < item.block.count) break
  }
  return pipeline.live()
}

/** Coverage is kept to the whole second, as it is shown. */
const shown = (reading: LiveReading) => ({
  ...reading,
  coverage: reading.coverage.map((item) => ({ ...item, have: Math.floor(item.have) })),
  warmUp: reading.warmUp && { stalls: reading.warmUp.stalls, selfIdles: reading.warmUp.selfIdles },
})

test('ReplayReadings gives at kept moments what the live page showed then', () => {
  const replay = new ReplayReadings(items, undefined)
  for (const reached of replay.build()) expect(reached).toBeGreaterThan(0)
  let compared = 0
  for (const timeS of [3, 12.5, 20, 31, 44.4, 58]) {
    const found = replay.at(timeS)
    expect(found).toBeDefined()
    expect(found!.timeS).toBeLessThanOrEqual(timeS)
    expect(timeS - found!.timeS).toBeLessThan(0.15)
    expect(shown(found!.reading)).toEqual(shown(liveAt(found!.timeS)))
    compared++
  }
  expect(compared).toBe(6)
})

test('ReplayReadings steps sample by sample exactly as fed one by one', () => {
  const replay = new ReplayReadings(items, undefined)
  for (const timeS of [15, 15.01, 15.02, 40]) {
    const found = replay.exactAt(timeS)!
    expect(timeS - found.timeS).toBeGreaterThanOrEqual(-1e-6)
    expect(timeS - found.timeS).toBeLessThan(0.02)
    expect(found.reading).toEqual(liveAt(found.timeS))
  }
})

test('ReplayReadings has nothing before the run begins and before it was worked out', () => {
  const replay = new ReplayReadings(items, undefined)
  expect(replay.at(10)).toBeUndefined()
  for (const reached of replay.build()) expect(reached).toBeGreaterThan(0)
  expect(replay.at(-100)).toBeUndefined()
})
