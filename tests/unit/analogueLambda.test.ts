import { describe, expect, it } from 'vitest'
import { captureHeader, formatCaptureLine } from '../../core/capture/formatCapture.ts'
import type { CarProfile } from '../../core/contract/car.ts'
import { encodeLine } from '../../core/line/encodeLine.ts'
import { analyseCapture } from '../../core/pipeline/analyseCapture.ts'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { measureGroundOffset, slopeAt, voltsOf } from '../../core/sensing/groundOffset.ts'
import { parseSenderTransfer } from '../../core/sensing/senderTransfer.ts'

/** 0 … 5 V as λ 0.68 … 1.36. */
const output = {
  kind: 'linear',
  points: [
    [0, 0.68],
    [5, 1.36],
  ],
}
const perVolt = (1.36 - 0.68) / 5
const transfer = parseSenderTransfer(output)
const trueLambda = 0.95
const offsetV = 0.12

/** Two minutes of warm idle on a board that reads λ as a voltage, its ground off by 0.12 V. */
function idleRun(): Uint8Array {
  const channels = [
    ['input_1', 'V', 0.001],
    ['engine_speed', 'rpm', 1],
    ['input_2', 'V', 0.001],
    ['coolant', 'C', 0.1],
    ['manifold_pressure', 'kPa', 0.1],
  ] as const
  let text = `${captureHeader}\n`
  const line = (timeS: number, record: Parameters<typeof encodeLine>[0]) => {
    text += formatCaptureLine(timeS, '<0', encodeLine(record))
  }
  line(0, {
    kind: 'identity',
    version: 1,
    boardName: 'analogue',
    firmware: '1',
    uniqueId: '1',
    ticksPerSecond: 1000,
  })
  channels.forEach(([name, unit, scale], index) => {
    line(0, { kind: 'channel', index, name, unit, scale, offset: 0 })
  })
  for (let i = 1; i <= 120 * 50; i++) {
    const wave = Math.sin(i / 7)
    const volts = (trueLambda + 0.004 * wave - 0.68) / perVolt + offsetV
    const values = [Math.round(volts * 1000), 800 + Math.round(6 * wave), 500, 850, 350]
    line(i / 50, { kind: 'sample', seq: i % 65536, tick: i * 20, values })
  }
  return new TextEncoder().encode(text)
}

const run = idleRun()
const carWith = (input: object): CarProfile => ({
  id: 'pebble',
  inputs: {
    input_1: { channel: 'lambda', transfer: output, ...input },
    input_2: {
      channel: 'throttle',
      transfer: {
        kind: 'linear',
        points: [
          [0.5, 0],
          [4.5, 100],
        ],
      },
    },
  },
})
const idle = (input: object) => {
  const { result } = analyseCapture(run, { car: carWith(input) })
  return { ...result.mixture.idle!, channels: result.channels_used, problems: result.run['problems'] }
}

describe('λ from a wideband controller’s analogue output', () => {
  it('is read through its transfer, with what the ground adds', () => {
    const { lambda_median, channels } = idle({})
    expect(lambda_median!).toBeCloseTo(trueLambda + offsetV * perVolt, 3)
    expect(channels).toEqual(expect.arrayContaining(['lambda', 'throttle', 'input_1', 'input_2']))
  })

  it('loses the ground’s share once that was checked', () => {
    expect(idle({ offset_V: offsetV }).lambda_median!).toBeCloseTo(trueLambda, 3)
  })

  it('has an interval that holds the ground’s error: wide unchecked, narrower checked', () => {
    const half = (input: object) => {
      const [low, high] = idle(input).ci95!
      return (high - low) / 2
    }
    const device = { accuracy: 0 }
    const unchecked = half(device)
    const checked = half({ ...device, offset_V: offsetV, offset_uncertainty_V: 0.004 })
    expect(unchecked).toBeGreaterThan(1.96 * 0.03 * perVolt)
    expect(checked).toBeLessThan(unchecked)
    expect(checked).toBeGreaterThan(1.96 * 0.004 * perVolt)
    expect(half({ accuracy: 0.03 })).toBeGreaterThan(1.96 * 0.03)
  })

  it('tells its uncertainty live, and a throttle on a plain input counts as one', () => {
    const pipeline = createPipeline({
      car: carWith({ accuracy: 0.01, offset_V: offsetV, offset_uncertainty_V: 0.02 }),
    })
    const channel = (index: number, name: string, unit: string) => ({
      index,
      name,
      unit,
      scale: 0.001,
      offset: 0,
    })
    const count = 500
    pipeline.push({
      source: 0,
      segment: 0,
      channels: [channel(0, 'input_1', 'V'), channel(1, 'engine_speed', 'rpm'), channel(2, 'input_2', 'V')],
      count,
      timeS: Float64Array.from({ length: count }, (_, i) => i / 50),
      columns: [2.1, 800, 0.5].map((value) => new Float32Array(count).fill(value)),
    })
    const [bank] = pipeline.live().banks
    expect(bank.lambda).toBeCloseTo(0.68 + (2.1 - offsetV) * perVolt, 4)
    expect(bank.lambdaUncertainty).toBeCloseTo(Math.hypot(0.01, 0.02 * perVolt), 4)
    expect(pipeline.live().state).not.toBe('running')
  })

  it('says what of a profile’s input cannot be used, and reads on', () => {
    const { result } = analyseCapture(run, { car: carWith({ offset_V: 'much' }) })
    expect(result.run['problems']).toEqual([expect.stringMatching(/input_1\.offset_V: "much"/)])
    expect(result.channels_used).not.toContain('lambda')
  })
})

describe('measureGroundOffset', () => {
  it('is the mean voltage minus the voltage of the known value', () => {
    const volts = Float32Array.from({ length: 100 }, (_, i) => 2.5 + 0.05 + (i % 2 === 0 ? 0.01 : -0.01))
    const found = measureGroundOffset({ volts, transfer, knownValue: transfer(2.5) })
    expect(found.offsetV).toBeCloseTo(0.05, 5)
    expect(found.uncertaintyV).toBeCloseTo(0.01, 3)
    expect(found.count).toBe(100)
  })

  it('carries the last digit of what the device showed', () => {
    const volts = new Float64Array(50).fill(2)
    const found = measureGroundOffset({ volts, transfer, knownValue: transfer(2), knownHalfWidth: 0.005 })
    expect(found.uncertaintyV).toBeCloseTo(0.005 / perVolt / Math.sqrt(3), 6)
  })

  it('passes NaN over, and says nothing from too few readings or a value that never comes', () => {
    const few = [2, Number.NaN, 2]
    expect(measureGroundOffset({ volts: few, transfer, knownValue: 0.95 })).toMatchObject({
      offsetV: Number.NaN,
      count: 2,
    })
    const many = new Float64Array(20).fill(2)
    expect(measureGroundOffset({ volts: many, transfer, knownValue: 7 }).offsetV).toBeNaN()
  })

  it('refuses an offset that no ground explains', () => {
    const volts = new Float64Array(20).fill(4)
    expect(() => measureGroundOffset({ volts, transfer, knownValue: transfer(2) })).toThrow(/2\.000 V/)
  })

  it('voltsOf turns a transfer round, falling ones too; slopeAt works at its ends', () => {
    const falling = parseSenderTransfer({
      kind: 'table',
      points: [
        [1, 100],
        [2, 40],
        [3, 10],
      ],
    })
    expect(falling(voltsOf(falling, 55, [0, 5]))).toBeCloseTo(55, 1)
    expect(voltsOf(falling, 200, [0, 5])).toBeNaN()
    expect(slopeAt(transfer, 2)).toBeCloseTo(perVolt, 9)
    expect(slopeAt(falling, 3)).toBeGreaterThan(0)
  })
})
