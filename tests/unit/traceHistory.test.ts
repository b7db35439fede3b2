import { describe, expect, it } from 'vitest'
import type { BankReading, LiveReading } from '../../core/contract/live.ts'
import { TraceHistory } from '../../dashboard/worker/traceHistory.ts'

const reading = (timeS: number, banks: Partial<BankReading>[]) =>
  ({ timeS, banks, targetLambda: Number.NaN, load: Number.NaN }) as unknown as LiveReading
const names = (trace: TraceHistory) => trace.channels.map(({ name }) => name)
const warming = { lambda: Number.NaN, untrusted: 'warming' } as const

describe('TraceHistory', () => {
  it('has a strip for the mixture while the sensor warms, empty until it reads', () => {
    const trace = new TraceHistory()
    expect(trace.pushReading(reading(0, [warming]), 0)).toBe(true)
    expect(trace.pushReading(reading(1, [warming]), 0)).toBe(false)
    trace.pushReading(reading(2, [{ lambda: 0.93 }]), 0)
    expect(names(trace)).toEqual(['mixture λ'])
    const { values } = trace.answer({ id: 1, fromS: 0, toS: 3, columnCount: 3, channels: ['mixture λ'] })
    const seen = [...values[0]].filter((value) => Number.isFinite(value))
    expect(new Set(seen)).toEqual(new Set([Math.fround(0.93)]))
  })

  it('has none of a bank without a sensor', () => {
    const trace = new TraceHistory()
    trace.pushReading(reading(0, [{ lambda: Number.NaN, untrusted: 'no_sensor' }]), 0)
    expect(names(trace)).toEqual([])
    trace.pushReading(reading(1, [warming, warming]), 0)
    expect(names(trace)).toEqual(['mixture λ', 'mixture λ, bank 2'])
  })
})
