import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { SampleClock } from '../../core/line/sampleClock.ts'

const ticksPerSecond = 1_000_000

interface Heard {
  tick: number
  arrivalS: number
}

/** Times that a fresh clock gives. */
function stampAll(heard: readonly Heard[]): { timeS: Float64Array; jumps: number } {
  const clock = new SampleClock()
  clock.setTicksPerSecond(ticksPerSecond)
  const timeS = new Float64Array(heard.length)
  heard.forEach(({ tick, arrivalS }, i) => {
    clock.stampInto(timeS, i, tick, arrivalS)
  })
  return { timeS, jumps: clock.jumps }
}

/** Samples taken at 100 Hz; `delayS` says how late each arrives, `driftPpm` how much too fast the board's clock runs. */
function taken(count: number, delayS: (i: number) => number, driftPpm = 0, firstTick = 0): Heard[] {
  return Array.from({ length: count }, (_, i) => ({
    tick: (firstTick + Math.round(i * 10_000 * (1 + driftPpm * 1e-6))) % 2 ** 32,
    arrivalS: i * 0.01 + delayS(i),
  }))
}

function expectAscending(timeS: Float64Array): void {
  for (let i = 1; i < timeS.length; i++) expect(timeS[i]).toBeGreaterThan(timeS[i - 1])
}

/** Largest distance of the times from the truth over `[from, end)`. */
function worst(timeS: Float64Array, truth: (i: number) => number, from = 0): number {
  let most = 0
  for (let i = from; i < timeS.length; i++) most = Math.max(most, Math.abs(timeS[i] - truth(i)))
  return most
}

describe('SampleClock', () => {
  it('keeps the even spacing of the tick when arrivals come in bursts of 16 ms', () => {
    const { timeS, jumps } = stampAll(taken(3000, (i) => 0.001 + Math.ceil((i * 10) / 16) * 0.016 - i * 0.01))
    for (let i = 1; i < timeS.length; i++) expect(timeS[i] - timeS[i - 1]).toBeCloseTo(0.01, 3)
    expect(jumps).toBe(0)
  })

  it('lays samples at the least delay even when the first came late', () => {
    const { timeS } = stampAll(taken(2000, (i) => (i < 20 ? 0.2 : 0.003)))
    expectAscending(timeS)
    expect(worst(timeS, (i) => i * 0.01 + 0.003, 400)).toBeLessThan(1e-6)
  })

  it.each([200, -200, 5000, -5000, 20_000, -20_000])('follows a board clock that is %d ppm off', (ppm) => {
    const { timeS, jumps } = stampAll(taken(60_000, (i) => 0.002 + ((i * 7919) % 97) * 1e-4, ppm))
    expectAscending(timeS)
    expect(jumps).toBe(0)
    // Two windows of 4 s are behind at most.
    expect(worst(timeS, (i) => i * 0.01 + 0.002, 1000)).toBeLessThan(0.005 + Math.abs(ppm) * 1e-6 * 8)
  })

  it('goes on evenly over a wrap of the tick', () => {
    const { timeS, jumps } = stampAll(taken(1000, () => 0.002, 0, 2 ** 32 - 3_333_333))
    expect(worst(timeS, (i) => i * 0.01 + 0.002)).toBeLessThan(2e-6)
    expect(jumps).toBe(0)
  })

  it('is not led astray by a reader that stalls for 5 s and then catches up', () => {
    const { timeS, jumps } = stampAll(taken(3000, (i) => (i >= 1000 && i < 1500 ? 15 - i * 0.01 : 0.002)))
    expect(jumps).toBe(0)
    expect(worst(timeS, (i) => i * 0.01 + 0.002)).toBeLessThan(1e-6)
  })

  it('follows the arrivals after their clock was set forward, and counts one jump', () => {
    const { timeS, jumps } = stampAll(taken(2000, (i) => (i < 1000 ? 0.002 : 100.002)))
    expectAscending(timeS)
    expect(jumps).toBe(1)
    expect(timeS[999]).toBeCloseTo(9.992, 6)
    expect(timeS[1150]).toBeCloseTo(111.502, 6)
  })

  it('goes on ascending after the arrival clock was set back, and counts one jump', () => {
    const { timeS, jumps } = stampAll(taken(2000, (i) => (i < 1000 ? 0.002 : -100)))
    expect(jumps).toBe(1)
    expect(worst(timeS, (i) => i * 0.01 + 0.002)).toBeLessThan(1e-3)
  })

  it('passes over a single wrong arrival, early or late', () => {
    for (const wrongS of [-1e6, 1e6]) {
      const { timeS, jumps } = stampAll(taken(1000, (i) => (i === 500 ? wrongS : 0.002)))
      expect(jumps).toBe(0)
      expect(worst(timeS, (i) => i * 0.01 + 0.002)).toBeLessThan(1e-6)
    }
  })

  it('lays samples at their arrival after the tick leapt ahead, and counts one jump', () => {
    const heard = taken(1000, () => 0.002).map(({ tick, arrivalS }, i) => ({
      tick: i < 500 ? tick : tick + 30_000_000,
      arrivalS,
    }))
    const { timeS, jumps } = stampAll(heard)
    expect(jumps).toBe(1)
    expect(worst(timeS, (i) => i * 0.01 + 0.002)).toBeLessThan(1e-6)
  })

  it('always ascends and never gives NaN, whatever ticks and arrivals come', () => {
    const heard = fc.record({
      tick: fc.integer({ min: 0, max: 2 ** 32 - 1 }),
      arrivalS: fc.oneof(fc.double({ min: -1e4, max: 1e4, noNaN: true }), fc.constant(5)),
    })
    fc.assert(
      fc.property(fc.array(heard, { maxLength: 60 }), (list) => {
        expectAscending(stampAll(list).timeS)
      }),
      { numRuns: 500 },
    )
  })

  it('gives arrival times without a tick, a microsecond apart where they are equal', () => {
    const clock = new SampleClock()
    const timeS = new Float64Array(3)
    clock.stampInto(timeS, 0, 5, 1)
    clock.stampInto(timeS, 1, 5, 1)
    clock.stampInto(timeS, 2, 5, 2)
    expect([...timeS]).toEqual([1, 1.000001, 2])
  })

  it('tells the time of a tick near the last sample, and the arrival where that is unbelievable', () => {
    const clock = new SampleClock()
    expect(clock.timeOf(7, 3)).toBe(3)
    clock.setTicksPerSecond(ticksPerSecond)
    clock.stampInto(new Float64Array(1), 0, 2 ** 32 - 1000, 10)
    expect(clock.timeOf(1000, 10.5)).toBeCloseTo(10.002, 9)
    expect(clock.timeOf(2 ** 32 - 501_000, 10)).toBeCloseTo(9.5, 9)
    expect(clock.timeOf(50_000_000, 10.5)).toBe(10.5)
  })
})
