import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import type { Pipeline } from '../../core/contract/pipeline.ts'
import type { ChannelDeclaration, SampleBlock } from '../../core/contract/samples.ts'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { pumpCurrentFromLambda } from '../../core/sensing/pumpCurrent.ts'

const board: readonly ChannelDeclaration[] = [
  ['pump_current', 'mA'],
  ['engine_speed', 'rpm'],
  ['throttle', '%'],
  ['manifold_pressure', 'kPa'],
  ['coolant', 'C'],
].map(([name, unit], index) => ({ index, name, unit, scale: 1, offset: 0 }))
const receiver: readonly ChannelDeclaration[] = [
  { index: 0, name: 'road_speed', unit: 'km/h', scale: 1, offset: 0 },
]

const RATE_HZ = 40
const SECONDS = 40

/** Half a minute with cranking, idle, an opening, cruise, full throttle and an overrun, with dirt in it. */
function makeDrive() {
  const count = RATE_HZ * SECONDS
  const timeS = new Float64Array(count)
  const columns = board.map(() => new Float32Array(count))
  for (let i = 0; i < count; i++) {
    const t = i / RATE_HZ
    const isGap = t > 30 && t < 32.5
    timeS[i] = t + (isGap ? 2.5 : t >= 32.5 ? 2.5 : 0) + 0.001 * Math.sin(i)
    const throttle = t < 12 ? 0 : t < 20 ? 14 : t < 26 ? 85 : t < 29 ? 0 : 12
    const rpm = t < 1 ? 0 : t < 2 ? 220 : t < 12 ? 800 : t < 20 ? 2100 : t < 26 ? 2200 + 300 * (t - 20) : 2500
    const map = rpm < 50 ? 99 : throttle === 0 ? (rpm > 1500 ? 24 : 34) : throttle > 50 ? 96 : 48
    const lambda = throttle === 0 && rpm > 1500 ? 2.2 : throttle > 50 ? 0.88 : t < 12 ? 0.95 : 1.01
    columns[0][i] = pumpCurrentFromLambda(lambda + 0.01 * Math.sin(0.7 * i))
    columns[1][i] = rpm + 8 * Math.sin(1.3 * i)
    columns[2][i] = throttle + 2 + 0.2 * Math.sin(2.1 * i) + (i % 331 === 0 ? 40 : 0)
    columns[3][i] = map + Math.sin(1.9 * i)
    columns[4][i] = i % 5 === 0 ? 81 : Number.NaN
  }
  return { timeS, columns, count }
}

const drive = makeDrive()

function block(from: number, to: number): SampleBlock {
  return {
    source: 0,
    segment: 0,
    channels: board,
    count: to - from,
    timeS: drive.timeS.slice(from, to),
    columns: drive.columns.map((column) => column.slice(from, to)),
  }
}

function speedBlock(second: number): SampleBlock {
  return {
    source: 1,
    segment: 0,
    channels: receiver,
    count: 1,
    timeS: Float64Array.of(second + 0.13),
    columns: [Float32Array.of(30 + second)],
  }
}

/** Pushes the drive cut at these places; the receiver's samples come where they fall in time. */
function analyse(cuts: readonly number[]) {
  const pipeline = createPipeline()
  pipeline.record(0, { type: 'free_air', bank: 1, current_mA: 2.6 })
  let second = 0
  let from = 0
  for (const cut of [...cuts, drive.count]) {
    if (cut <= from) continue
    while (second + 0.13 < drive.timeS[from] && second < SECONDS) pipeline.push(speedBlock(second++))
    pipeline.push(block(from, cut))
    from = cut
  }
  while (second < SECONDS) pipeline.push(speedBlock(second++))
  return pipeline
}

const whole = analyse([])

describe('createPipeline', () => {
  it('gives the same result and evidence however the samples are cut into blocks', () => {
    const expected = JSON.stringify(whole.analysis())
    fc.assert(
      fc.property(fc.uniqueArray(fc.integer({ min: 1, max: drive.count - 1 }), { maxLength: 25 }), (cuts) => {
        cuts.sort((a, b) => a - b)
        expect(JSON.stringify(analyse(cuts).analysis())).toBe(expected)
      }),
      { numRuns: 12, seed: 4 },
    )
  }, 60_000)

  it('gives the same result when every sample comes by itself', () => {
    const single = analyse(Array.from({ length: drive.count - 1 }, (_, i) => i + 1))
    expect(JSON.stringify(single.analysis())).toBe(JSON.stringify(whole.analysis()))
  }, 30_000)

  it('gives the same live reading at the end however the board’s samples are cut', () => {
    const withoutReceiver = (cuts: number[]) => {
      const pipeline = createPipeline()
      let from = 0
      for (const cut of [...cuts, drive.count]) {
        pipeline.push(block(from, cut))
        from = cut
      }
      return pipeline.live()
    }
    expect(withoutReceiver([7, 8, 500, 901])).toEqual(withoutReceiver([]))
  })

  it('gives an unchanged result when asked twice', () => {
    expect(JSON.stringify(whole.result())).toBe(JSON.stringify(whole.result()))
  })

  describe('that works toward its result while samples come', () => {
    const cuts = Array.from({ length: 30 }, (_, i) => 50 * i + 17)
    /** The board alone, cut into pieces; at some pieces something else comes. */
    const run = (expectsResult: boolean, between: (pipeline: Pipeline, piece: number) => void = () => {}) => {
      const pipeline = createPipeline({ expectsResult })
      let from = 0
      for (const [piece, cut] of [...cuts, drive.count].entries()) {
        pipeline.push(block(from, cut))
        between(pipeline, piece)
        from = cut
      }
      return JSON.stringify(pipeline.analysis())
    }
    const heaterOpen = (timeS: number) => ({ source: 0, timeS, code: 'heater_open', text: '' })

    it.each<[string, (pipeline: Pipeline, piece: number) => void]>([
      ['nothing else', () => {}],
      [
        'records that change how λ is read',
        (pipeline, piece) => {
          if (piece % 7 === 3)
            pipeline.record(piece, { type: 'free_air', bank: 1, current_mA: 2.5 + 0.01 * piece })
        },
      ],
      [
        'events in time',
        (pipeline, piece) => {
          if (piece % 9 === 4) pipeline.event(heaterOpen((50 * piece + 20) / RATE_HZ))
        },
      ],
      [
        'events of long ago',
        (pipeline, piece) => {
          if (piece % 5 === 4) pipeline.event(heaterOpen(3 + 0.1 * piece))
        },
      ],
      [
        'a second source',
        (pipeline, piece) => {
          if (piece > 10) pipeline.push(speedBlock(piece))
        },
      ],
    ])('gives the same with %s', (_, between) => {
      expect(run(true, between)).toBe(run(false, between))
    })

    it('gives the same when a second bank comes later, and when asked for a result midway', () => {
      const both = [...board, { index: 5, name: 'pump_current_2', unit: 'mA', scale: 1, offset: 0 }]
      const second = (from: number, to: number): SampleBlock => {
        const one = block(from, to)
        return { ...one, segment: 1, channels: both, columns: [...one.columns, one.columns[0]] }
      }
      const [plain, ahead] = [false, true].map((expectsResult) => {
        const pipeline = createPipeline({ expectsResult })
        pipeline.push(block(0, 400))
        const midway = JSON.stringify(pipeline.analysis())
        pipeline.push(block(400, 700))
        pipeline.push(second(700, drive.count))
        return [midway, JSON.stringify(pipeline.analysis())]
      })
      expect(ahead).toEqual(plain)
    })
  })

  it('finds the states of the drive', () => {
    const seen = new Set(whole.result().states.map(({ state }) => state))
    for (const state of ['off', 'cranking', 'idle', 'cruise', 'power', 'overrun'] as const)
      expect(seen).toContain(state)
  })

  it('reports the gap and names its seconds as untrusted', () => {
    const { integrity, trust } = whole.result()
    expect(integrity.gaps).toHaveLength(1)
    expect(integrity.gaps[0].end_s - integrity.gaps[0].start_s).toBeCloseTo(2.5, 1)
    expect(trust.untrusted_s.gap).toBeGreaterThan(2.4)
  })

  it('keeps only the wanted history, and still gives a result', () => {
    const pipeline = createPipeline({ historyS: 10 })
    for (let from = 0; from < drive.count; from += 40)
      pipeline.push(block(from, Math.min(drive.count, from + 40)))
    expect(pipeline.result().run.seconds).toBeLessThan(45)
    expect(pipeline.result().format).toBe('floatbowl-result 1')
  })

  it('gives an empty result for no samples at all', () => {
    const { result, pieces } = createPipeline().analysis()
    expect(result.states).toEqual([])
    expect(result.warm_up).toBeNull()
    expect(pieces).toEqual([])
  })
})
