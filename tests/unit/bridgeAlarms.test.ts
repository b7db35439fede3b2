import { describe, expect, it } from 'vitest'
import { BridgeAlarms, mostDrift, nearlyFullBytes } from '../../bridge/watch/bridgeAlarms.ts'
import { ClockDrift } from '../../bridge/watch/clockDrift.ts'

/** Alarms with everything they told, as `code on` and `code over worst`. */
function heard() {
  const told: string[] = []
  const alarms = new BridgeAlarms((alarm, isOn) =>
    told.push(isOn ? `${alarm.code} on` : `${alarm.code} over ${alarm.worst}`),
  )
  return { alarms, told }
}
const roomy = { freeBytes: 10 * nearlyFullBytes, drift: 0 }

describe('BridgeAlarms', () => {
  it('tells of a nearly full disk after a second, with the least space as its worst, and ends after two', () => {
    const { alarms, told } = heard()
    alarms.step(0, { ...roomy, freeBytes: nearlyFullBytes - 2 })
    expect(alarms.active).toEqual([])
    alarms.step(0.5, { ...roomy, freeBytes: nearlyFullBytes - 5 })
    alarms.step(1, { ...roomy, freeBytes: nearlyFullBytes - 1 })
    expect(alarms.active).toEqual([
      { code: 'disk_nearly_full', priority: 'caution', startS: 0, worst: nearlyFullBytes - 5 },
    ])
    alarms.step(2, roomy)
    alarms.step(3.5, roomy)
    expect(alarms.active).toHaveLength(1)
    alarms.step(4, roomy)
    expect(told).toEqual(['disk_nearly_full on', `disk_nearly_full over ${nearlyFullBytes - 5}`])
  })

  it('does not chatter while the space moves about the limit', () => {
    const { alarms, told } = heard()
    for (let s = 0; s < 600; s++)
      alarms.step(s, { ...roomy, freeBytes: nearlyFullBytes * (s % 2 ? 1.05 : 0.95) })
    expect(told.length).toBeLessThanOrEqual(1)
  })

  it('tells of a board clock that is off either way, as an advisory after three seconds', () => {
    for (const drift of [2 * mostDrift, -2 * mostDrift]) {
      const { alarms } = heard()
      alarms.step(0, { ...roomy, drift })
      alarms.step(2.5, { ...roomy, drift })
      expect(alarms.active).toEqual([])
      alarms.step(3, { ...roomy, drift })
      expect(alarms.active).toMatchObject([
        { code: 'board_clock_drift', priority: 'advisory', worst: 2 * mostDrift },
      ])
    }
  })

  it('says nothing while neither space nor drift is known', () => {
    const { alarms, told } = heard()
    for (let s = 0; s < 60; s++) alarms.step(s, { freeBytes: Number.NaN, drift: Number.NaN })
    expect(told).toEqual([])
  })
})

describe('ClockDrift', () => {
  it('gives the slope of the offset once a minute was seen, and NaN before', () => {
    const drift = new ClockDrift()
    for (let s = 0; s < 59; s += 0.5) drift.push(s, 5 + 0.02 * s)
    expect(drift.share).toBeNaN()
    for (let s = 59; s < 120; s += 0.5) drift.push(s, 5 + 0.02 * s)
    expect(drift.share).toBeCloseTo(0.02, 6)
  })

  it('is not misled by late arrivals of 30 ms', () => {
    const drift = new ClockDrift()
    for (let s = 0; s < 200; s += 0.5) drift.push(s, 5 + (s % 7 < 3 ? 0.03 : 0))
    expect(Math.abs(drift.share)).toBeLessThan(0.001)
  })

  it('begins anew after a restart of the board and while the source is away', () => {
    const drift = new ClockDrift()
    for (let s = 0; s < 100; s++) drift.push(s, 5)
    expect(drift.share).toBe(0)
    drift.push(100, 105)
    expect(drift.share).toBeNaN()
    for (let s = 101; s < 200; s++) drift.push(s, 105)
    expect(drift.share).toBe(0)
    drift.push(200, Number.NaN)
    expect(drift.share).toBeNaN()
  })
})
