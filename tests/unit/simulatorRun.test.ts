import { describe, expect, test } from 'vitest'
import { defaultTargets } from '../../core/contract/car.ts'
import { decodeLine } from '../../core/line/decodeLine.ts'
import {
  cars,
  createLiveSimulator,
  expectedLambda,
  findCar,
  parseDrive,
  parseSettings,
  randomCar,
  simulateRun,
  truthToJson,
} from '../../simulator/index.ts'

const juniper = findCar('juniper')
const text = (bytes: Uint8Array) => new TextDecoder().decode(bytes)
const band = (state: keyof typeof defaultTargets) => {
  const { lambda, rich, lean } = defaultTargets[state]
  return [lambda - rich, lambda + lean] as const
}
const states = ['idle', 'cruise', 'part_throttle', 'power'] as const

// Whole drives are made here; the limit only stops a hang.
const options = { timeout: 60_000 }

describe('simulateRun', options, () => {
  test('names banks only where each sensor has a name of its own', () => {
    const namesOf = (car: string, banks: number) => {
      const { bytes } = simulateRun({
        car: findCar(car),
        drive: 'traffic',
        seconds: 1,
        parameters: { 'sensor.banks': banks },
      })
      return /"bank_names":(\[[^\]]*\])/.exec(text(bytes))?.[1]
    }
    expect(namesOf('juniper', 1)).toBe('["all cylinders"]')
    expect(namesOf('juniper', 2)).toBeUndefined()
    expect(namesOf('marigold', 2)).toBe('["left","right"]')
  })

  test('gives the same bytes and truth for the same options, other bytes for another seed', () => {
    const drive = { car: juniper, drive: 'traffic', seconds: 60 } as const
    const first = simulateRun({ ...drive, seed: 4 })
    const again = simulateRun({ ...drive, seed: 4 })
    const other = simulateRun({ ...drive, seed: 5 })
    expect(Buffer.compare(again.bytes, first.bytes)).toBe(0)
    expect(truthToJson(again.truth) === truthToJson(first.truth)).toBe(true)
    expect(Buffer.compare(other.bytes, first.bytes)).not.toBe(0)
  })

  test('writes a capture whose records come first and whose board lines all decode', () => {
    const { bytes, truth } = simulateRun({ car: juniper, drive: 'good', seconds: 20 })
    const lines = text(bytes).trimEnd().split('\n')
    expect(lines[0]).toBe('floatbowl-capture 1')
    const types = lines
      .filter((line) => / = /.test(line))
      .map((line) => JSON.parse(line.split(' = ')[1]).type)
    expect(types.slice(0, 5)).toEqual(['start', 'car', 'fitted', 'air', 'free_air'])
    expect(types.at(-1)).toBe('stop')
    const board = lines
      .filter((line) => / <0 /.test(line))
      .map((line) => decodeLine(line.slice(line.indexOf('<0 ') + 3)))
    expect(board.filter((record) => record.kind === 'bad')).toEqual([])
    expect(board.filter((record) => record.kind === 'sample')).toHaveLength(truth.timeS.length)
    expect(truth.timeS).toHaveLength(2000)
  })

  test('keeps the times of a capture from going back, also with jitter', () => {
    const { bytes } = simulateRun({ car: juniper, seconds: 30, parameters: { 'line.jitter_ms': 40 } })
    let last = Number.NEGATIVE_INFINITY
    let back = 0
    for (const line of text(bytes).trimEnd().split('\n').slice(1)) {
      const timeS = Number(line.slice(0, line.indexOf(' ')))
      if (!(timeS >= last)) back++
      last = timeS
    }
    expect(back).toBe(0)
  })

  test('damages and loses about as many lines as asked', () => {
    const parameters = { 'line.damaged_share': 0.05, 'line.lost_share': 0.1 }
    const { bytes, truth } = simulateRun({ car: juniper, seconds: 60, parameters })
    const board = text(bytes)
      .split('\n')
      .filter((line) => / <0 /.test(line))
      .map((line) => decodeLine(line.slice(line.indexOf('<0 ') + 3)).kind)
    const bad = board.filter((kind) => kind === 'bad').length
    expect(bad / board.length).toBeGreaterThan(0.03)
    expect(bad / board.length).toBeLessThan(0.07)
    expect(board.length).toBeLessThan(0.95 * truth.timeS.length)
  })

  test('a cold start cranks, fires, idles fast on the choke, and idles by itself', () => {
    const { truth } = simulateRun({ car: juniper, drive: 'cold_start', seconds: 130 })
    const at = (kind: string) => truth.events.find((event) => event.kind === kind)?.startS ?? Number.NaN
    expect(at('first_fire')).toBeGreaterThan(at('crank_start'))
    expect(at('first_fire') - at('crank_start')).toBeLessThan(6)
    expect(at('self_idle')).toBeGreaterThan(at('first_fire') + 9)
    const afterS = at('first_fire') + 12
    const i = truth.timeS.findIndex((timeS) => timeS > afterS)
    expect(truth.rpm[i]).toBeGreaterThan(1200)
    expect(truth.lambdaStill[i]).toBeGreaterThan(0.72)
    expect(truth.lambdaStill[i]).toBeLessThan(0.92)
    expect(truth.coolantC[i]).toBeLessThan(30)
  })

  test('an automatic car is held against the push of a fast idle, and drives on', () => {
    const { truth } = simulateRun({ car: findCar('marigold'), drive: 'cold_start', setup: 'late_choke' })
    expect(truth.seconds).toBeLessThan(900)
  })

  test('a choke that opens too early stalls the cold engine, one that opens late keeps it rich', () => {
    const early = simulateRun({ car: juniper, drive: 'cold_start', setup: 'early_choke' }).truth
    const late = simulateRun({ car: juniper, drive: 'cold_start', setup: 'late_choke' }).truth
    const right = simulateRun({ car: juniper, drive: 'cold_start' }).truth
    const stalls = (truth: typeof right) => truth.events.filter((event) => event.kind === 'stall').length
    expect(stalls(early)).toBeGreaterThan(stalls(right))
    expect(late.steady[0].warm_up!.meanStill).toBeLessThan(right.steady[0].warm_up!.meanStill - 0.05)
  })

  test('without a pump shot an opening goes lean, with the right one it does not', () => {
    const steps = parseDrive([
      { do: 'start' },
      { do: 'idle', s: 20 },
      { do: 'cruise', kmh: 60, s: 12 },
      { do: 'tip_in', by_pct: 28, rate_pct_s: 150, hold_s: 2 },
      { do: 'cruise', kmh: 60, s: 4 },
    ])
    const opening = (setup: string) => {
      const { truth } = simulateRun({ car: juniper, drive: steps, setup })
      const found = truth.events.filter((event) => event.kind === 'tip_in').at(-1)
      return { ...found, overS: (found?.leanPeak ?? 0) - (found?.settledLambda ?? 0) }
    }
    const dead = opening('dead_pump')
    const right = opening('right')
    expect(right.patternSettled).toBe('clean')
    expect(['lean_at_once', 'lean_later']).toContain(dead.patternSettled)
    expect(dead.leanPeak!).toBeGreaterThan(right.leanPeak! + 0.03)
  })

  test('says the true delay: shorter with more flow, total above transport', () => {
    const { truth } = simulateRun({ car: juniper, drive: 'good', seconds: 200 })
    const meanOf = (name: string) => {
      const index = truth.states.indexOf(name as (typeof truth.states)[number])
      let sum = 0
      let n = 0
      for (let i = 3000; i < truth.timeS.length; i++) {
        if (truth.state[i] !== index) continue
        expect(truth.totalDelayS[i]).toBeGreaterThan(truth.transportDelayS[i])
        sum += truth.totalDelayS[i]
        n++
      }
      return sum / n
    }
    expect(meanOf('idle')).toBeGreaterThan(0.3)
    expect(meanOf('cruise')).toBeLessThan(0.5 * meanOf('idle'))
  })

  test('rejects an unknown set-up, drive, channel and rate with what is expected', () => {
    expect(() => simulateRun({ car: juniper, setup: 'lean_mian' })).toThrow(/lean_main/)
    expect(() => simulateRun({ car: juniper, drive: 'race' as 'good' })).toThrow(/cold_start/)
    expect(() => simulateRun({ car: juniper, channels: ['pump_curent'] })).toThrow(/pump_current/)
    expect(() => simulateRun({ car: juniper, rateHz: 5 })).toThrow(/20 … 500/)
  })
})

describe('set-ups', options, () => {
  test.each(cars.map((car) => [car.name, car] as const))(
    'the right parts of %s sit in every band at reference air',
    (_name, car) => {
      for (const state of states) {
        const { lambda } = expectedLambda(car, car.right, state)
        const [low, high] = band(state)
        expect(lambda, state).toBeGreaterThan(low)
        expect(lambda, state).toBeLessThan(high)
      }
    },
  )

  test.each(cars.map((car) => [car.name, car] as const))(
    'wrong parts of %s leave the bands they are named after',
    (_name, car) => {
      const stateOf: Record<string, (typeof states)[number]> = {
        idle: 'idle',
        main: 'cruise',
        power: 'power',
      }
      for (const [name, setup] of Object.entries(car.setups)) {
        const named = /^(lean|rich)_(idle|main|power)$/.exec(name)
        if (!named) continue
        const state = stateOf[named[2]]
        const { lambda } = expectedLambda(car, { ...car.right, ...setup.fitted }, state)
        const [low, high] = band(state)
        if (named[1] === 'lean') expect(lambda, name).toBeGreaterThan(high)
        else expect(lambda, name).toBeLessThan(low)
      }
    },
  )

  test('random cars sit in their bands with the right parts and out of one with the wrong ones', () => {
    for (let seed = 100; seed < 106; seed++) {
      const car = randomCar(seed)
      for (const state of states) {
        const { lambda } = expectedLambda(car, car.right, state)
        const [low, high] = band(state)
        expect(lambda, `${seed} ${state}`).toBeGreaterThan(low)
        expect(lambda, `${seed} ${state}`).toBeLessThan(high)
      }
      expect(randomCar(seed)).toEqual(car)
    }
  })

  test('λ of a carburettor follows the root of air density', () => {
    // Standard atmosphere at 1500 m on top of the reference: density ratio 0.863728, λ ratio 0.92937 (Heywood ch. 7).
    for (const state of ['cruise', 'power'] as const) {
      const home = expectedLambda(juniper, juniper.right, state).lambda
      const air = { temperature_C: 20, pressure_kPa: 86.3728, humidity_pct: 0 }
      const high = expectedLambda(juniper, juniper.right, state, air).lambda
      expect(high / home).toBeGreaterThan(0.92937 - 0.02)
      expect(high / home).toBeLessThan(0.92937 + 0.02)
    }
  })

  test('throttle-body injection reckons with the air and keeps its λ', () => {
    const pebble = findCar('pebble')
    const injected = { 'injection.fitted': 1 }
    const air = { temperature_C: 20, pressure_kPa: 86, humidity_pct: 0 }
    const home = expectedLambda(pebble, pebble.right, 'cruise', undefined, injected).lambda
    expect(expectedLambda(pebble, pebble.right, 'cruise', air, injected).lambda / home).toBeCloseTo(1, 2)
  })
})

describe('parseSettings', () => {
  test('takes a part by its label or its size, and figures with their bounds', () => {
    const byLabel = parseSettings(juniper, ['fitted.main_jet=100', 'air.temperature_C=30'])
    expect(byLabel.fitted?.main_jet?.bore_mm).toBeCloseTo(100 / 39.4, 2)
    expect(byLabel.parameters?.['air.temperature_C']).toBe(30)
    expect(parseSettings(juniper, ['fitted.main_jet=2.41']).fitted?.main_jet?.bore_mm).toBe(2.41)
  })

  test('names near keys for an unknown one, and refuses values out of bounds', () => {
    expect(() => parseSettings(juniper, ['air.temprature_C=30'])).toThrow(/air\.temperature_C/)
    expect(() => parseSettings(juniper, ['temperature=30'])).toThrow(/air\.temperature_C/)
    expect(() => parseSettings(juniper, ['air.temperature_C=900'])).toThrow(/55/)
    expect(() => parseSettings(juniper, ['air.temperature_C='])).toThrow(/expected a number/)
    expect(() => parseSettings(juniper, ['fitted.main_jett=96'])).toThrow(/main_jet/)
    expect(() => parseSettings(juniper, ['rubbish'])).toThrow(/key=value/)
  })
})

describe('createLiveSimulator', options, () => {
  test('gives the same bytes however often it is asked', () => {
    const whole = createLiveSimulator({ car: juniper, drive: 'good' })
    const parts = createLiveSimulator({ car: juniper, drive: 'good' })
    let joined = ''
    for (let timeS = 0.033; timeS < 5; timeS += 0.033) joined += text(parts.advance(timeS))
    joined += text(parts.advance(5))
    expect(joined).toBe(text(whole.advance(5)))
  })

  test('answers commands: identifies, changes the rate, reads free air', () => {
    const live = createLiveSimulator({ car: juniper })
    live.advance(1)
    live.command('?')
    expect(text(live.advance(1))).toMatch(/^I,1,.*\nC,0,pump_current/)
    live.command('R,50')
    const lines = text(live.advance(2)).split('\n')
    expect(lines[0]).toMatch(/^A,R,ok,50\*/)
    expect(lines.filter((line) => line.startsWith('S,'))).toHaveLength(50)
    live.command('Z')
    expect(text(live.advance(2))).toMatch(/^A,Z,ok,2\.5/)
    live.command('R,9999')
    expect(text(live.advance(2))).toMatch(/^A,R,error/)
  })

  test('starts the drive anew when it has ended', () => {
    const drive = parseDrive([{ do: 'start' }, { do: 'idle', s: 2 }, { do: 'off', s: 1 }])
    const live = createLiveSimulator({ car: juniper, drive })
    const lines = text(live.advance(60)).split('\n')
    expect(lines.filter((line) => line.startsWith('S,')).length).toBeGreaterThan(5900)
    expect(live.done).toBe(false)
  })
})

describe('parseDrive', () => {
  test('names the step and field that is wrong', () => {
    expect(() => parseDrive([{ do: 'cruise', kmh: 900, s: 3 }])).toThrow(/drive file: .*kmh|0/)
    expect(() => parseDrive({ steps: [] })).toThrow(RangeError)
    expect(() => parseDrive('fast')).toThrow(RangeError)
  })
})
