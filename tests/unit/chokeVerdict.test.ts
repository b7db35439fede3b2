import { describe, expect, it } from 'vitest'
import { createPipeline } from '../../core/pipeline/createPipeline.ts'
import { declareChannels } from '../support/declareChannels.ts'

const names = ['lambda', 'engine_speed', 'manifold_pressure', 'coolant', 'road_speed'] as const

/** The word on the choke after five minutes of town from cold, λ off its warm-up target by `off`, on a board that tells no throttle. */
function verdict(off: number, idleSwing = 0, hasRoadSpeed = true): string {
  const channels = declareChannels(names.slice(0, hasRoadSpeed ? 5 : 4))
  const count = 300 * 25
  const timeS = Float64Array.from({ length: count }, (_, i) => i / 25)
  const at = (t: number) => {
    const coolant = 15 + (45 * t) / 280
    if (t < 2) return [1, 0, 100, coolant, 0]
    if (t < 4) return [1, 200, 92, coolant, 0]
    const lambda = 0.8 + (0.15 * (coolant - 10)) / 50 + off
    // Twenty seconds at a light, then twenty of creeping off and slowing down in gear.
    const phase = t % 40
    if (phase < 20) return [lambda, 850 + idleSwing * Math.sin(4 * t), 38, coolant, 0]
    return [lambda, 960 + 170 * Math.sin(2 * t), 60, coolant, 9]
  }
  const columns = channels.map((_, k) => Float32Array.from(timeS, (t) => at(t)[k]))
  const pipeline = createPipeline({ car: { id: 'test', engine: { idle_rpm: 850 } } })
  pipeline.push({ source: 0, segment: 0, channels, count, timeS, columns })
  return pipeline.result().warm_up!.choke
}

describe('the word on the choke, without a throttle', () => {
  it('takes the speed of a car that creeps for no uneven idle: rich all the time is late', () => {
    expect(verdict(-0.12)).toBe('late')
    expect(verdict(0)).toBe('fine')
  })

  it('is late too where nothing tells whether the car stands', () => {
    expect(verdict(-0.12, 0, false)).toBe('late')
  })

  it('is not late of an engine that hunts where it stands: it may misfire', () => {
    expect(verdict(-0.12, 120)).toBe('fine')
  })
})

/** The same of a drive at one speed from 15 to 84 °C with a throttle; λ off its cruise target by `off` between 60 and 72 °C, and by `always` at any time. */
function verdictOfCruise(off: number, always = 0): string {
  const channels = declareChannels(['lambda', 'engine_speed', 'manifold_pressure', 'coolant', 'throttle'])
  const count = 600 * 25
  const timeS = Float64Array.from({ length: count }, (_, i) => i / 25)
  const at = (t: number) => {
    const coolant = Math.min(84, 15 + t / 5)
    if (t < 2) return [1, 0, 100, coolant, 0]
    if (t < 4) return [1, 200, 92, coolant, 0]
    if (t < 30) return [0.82, 900, 38, coolant, 0]
    const cold = Math.max(0, (60 - coolant) / 45)
    const lambda = coolant < 60 ? 0.95 - 0.13 * cold : coolant < 72 ? 1.02 + off : 1.02
    return [lambda + always, 2000, 48, coolant, 14]
  }
  const columns = channels.map((_, k) => Float32Array.from(timeS, (t) => at(t)[k]))
  const pipeline = createPipeline({ car: { id: 'test', engine: { idle_rpm: 850 } } })
  pipeline.push({ source: 0, segment: 0, channels, count, timeS, columns })
  return pipeline.result().warm_up!.choke
}

describe('the word on a choke that holds on over warm', () => {
  it('is late where the warm engine burns richer than it does hot', () => {
    expect(verdictOfCruise(-0.14)).toBe('late')
    expect(verdictOfCruise(0)).toBe('fine')
  })

  it('is fine of a car whose jets alone are a little rich while it warms through', () => {
    expect(verdictOfCruise(-0.05)).toBe('fine')
  })

  it('lays to the jets what the warm engine is off by as well', () => {
    expect(verdictOfCruise(0, -0.12)).toBe('fine')
    expect(verdictOfCruise(0, 0.12)).toBe('fine')
  })
})
