import { describe, expect, it } from 'vitest'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { declareChannels } from '../support/declareChannels.ts'

interface Moment {
  lambda: number
  rpm: number
  throttle: number
  map: number
}

const channels = declareChannels(['lambda', 'engine_speed', 'throttle', 'manifold_pressure'])

/** Runs a made-up drive at 50 Hz, without any delay unless told. */
function analyse(seconds: number, at: (t: number) => Moment, delay = { a_s: 0, b_s_rpm_kPa: 0 }) {
  const count = seconds * 50
  const timeS = Float64Array.from({ length: count }, (_, i) => i / 50)
  const moments = Array.from(timeS, at)
  const columns = (['lambda', 'rpm', 'throttle', 'map'] as const).map((key) =>
    Float32Array.from(moments, (moment) => moment[key]),
  )
  const pipeline = createPipeline({
    car: {
      id: 'test',
      engine: { idle_rpm: 800 },
      delay: { ...delay, events_used: 500 },
    },
  })
  pipeline.push({ source: 0, segment: 0, channels, count, timeS, columns })
  return pipeline.analysis()
}

const idle: Moment = { lambda: 0.95, rpm: 800, throttle: 0, map: 35 }
const overrun: Moment = { lambda: 2.5, rpm: 2200, throttle: 0, map: 22 }
const cruise: Moment = { lambda: 1.02, rpm: 2200, throttle: 14, map: 55 }
const part: Moment = { lambda: 0.96, rpm: 2200, throttle: 15, map: 72 }

const sum = (values: readonly number[]) => values.reduce((a, b) => a + b, 0)

describe('steady pieces', () => {
  /** Ten seconds of idle or so on either side of an overrun; the air in the exhaust is gone after it by this law. */
  function readAfterOverrun(tauS: number) {
    const { pieces } = analyse(40, (t) => {
      if (t > 15 && t < 20) return overrun
      return t < 20 ? idle : { ...idle, lambda: 0.95 + 1.5 * Math.exp(-(t - 20) / tauS) }
    })
    const own = pieces.filter(({ state }) => state === 'idle')
    const read = sum(own.map(({ seconds }) => seconds))
    return { own, unread: sum(own.map(({ standsForS }) => standsForS!)) - read }
  }

  it('stand for the time after an overrun in which the exhaust is full of air', () => {
    const { own, unread } = readAfterOverrun(0.15)
    expect(unread).toBeGreaterThan(0.8)
    for (const piece of own) expect(piece.lambda).toBeLessThan(0.97)
  })

  it('read sooner where the air is gone sooner', () => {
    expect(readAfterOverrun(0.03).unread).toBeLessThan(readAfterOverrun(0.15).unread - 0.2)
  })

  it('leave out the first seconds after a start, in which the exhaust is full of the air of cranking', () => {
    const { pieces } = analyse(30, (t) => {
      if (t < 2) return { lambda: 3, rpm: 0, throttle: 0, map: 100 }
      if (t < 4) return { lambda: 3, rpm: 200, throttle: 0, map: 90 }
      return { ...idle, lambda: 0.95 + 2 * Math.exp(-(t - 4) / 0.7) }
    })
    const own = pieces.filter(({ state }) => state === 'idle')
    expect(sum(own.map(({ seconds }) => seconds))).toBeGreaterThan(20)
    for (const piece of own) expect(piece.lambda).toBeLessThan(0.965)
  })

  it('leave out the last gas of idle, which what follows drives out of the pipe and mixes with its own', () => {
    const LEAN_IN_PIPE_S = 20.05
    const { pieces } = analyse(
      40,
      (t) => {
        const lambda = t < LEAN_IN_PIPE_S ? idle.lambda : t < 20.6 ? 1.3 : part.lambda
        return { ...(t < 20 ? idle : part), lambda }
      },
      { a_s: 0.1, b_s_rpm_kPa: 15_000 },
    )
    const own = pieces.filter(({ state }) => state === 'idle')
    expect(sum(own.map(({ seconds }) => seconds))).toBeGreaterThan(18)
    for (const piece of own) expect(piece.lambda).toBeCloseTo(idle.lambda, 3)
  })

  it('put the mean of a short idle in doubt by its seconds after the start that were not read', () => {
    const half = (startS: number) => {
      const { result } = analyse(startS + 10, (t) => {
        if (t < startS - 1) return { ...idle, rpm: 0, map: 100 }
        return t < startS ? { ...idle, rpm: 200, map: 90 } : idle
      })
      const [low, high] = result.mixture.idle!.ci95!
      return (high - low) / 2
    }
    expect(half(3)).toBeGreaterThan(4.5 * half(0))
  })

  it('read the edges between cruise and part throttle, where the mixture goes over steadily', () => {
    const { pieces } = analyse(40, (t) => (t < 20 ? cruise : part))
    const read = sum(pieces.filter(({ state }) => state === 'part_throttle').map(({ seconds }) => seconds))
    expect(read).toBeGreaterThan(19.6)
  })

  it('are in doubt where load lies at the limit of a state', () => {
    const { pieces } = analyse(40, (t) => (t < 20 ? cruise : { ...cruise, map: 60.2 }))
    const doubt = sum(pieces.map(({ doubtS }) => doubtS!))
    expect(doubt).toBeGreaterThan(18)
    expect(doubt).toBeLessThan(21)
  })
})
