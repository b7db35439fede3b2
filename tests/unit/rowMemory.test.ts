import { describe, expect, it } from 'vitest'
import { RowMemory } from '../../core/engine/rowMemory.ts'

describe('RowMemory', () => {
  it('tells the readings of the row that a point belongs to, not of the newest', () => {
    const rows = new RowMemory()
    for (let n = 0; n < 30; n++) {
      rows.add(n / 100, n, 100 - n)
      if (n < 12) continue
      rows.goTo((n - 12) / 100)
      expect([rows.roadSpeedMs, rows.secondaryPct]).toEqual([n - 12, 112 - n])
    }
  })

  it('knows the oldest row that it still has when the asked one is gone', () => {
    const rows = new RowMemory()
    for (let n = 0; n < 3000; n++) rows.add(n / 10_000, n, 0)
    rows.goTo(0)
    expect(rows.roadSpeedMs).toBe(3000 - 1024)
  })
})
