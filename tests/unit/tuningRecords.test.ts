import { describe, expect, it } from 'vitest'
import type { Fitted } from '../../core/contract/car.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { analyseCapture } from '../../core/pipeline/analyseCapture.ts'
import { advise } from '../../core/tuning/advise.ts'
import { findCar, simulateRun } from '../../simulator/index.ts'
import { box, drive, engine, right, withPart } from '../support/jettingCar.ts'
import type { SyntheticOptions } from '../support/syntheticRun.ts'

/** The run with other parts on its record than were driven; without any, with none. */
const noted = (run: RunAnalysis, fitted?: Fitted): RunAnalysis => {
  const { fitted: _, ...rest } = run.result.run
  return { ...run, result: { ...run.result, run: fitted ? { ...rest, fitted } : rest } }
}
const small = withPart('main_jet', { bore_mm: 1.66 })
const middle = withPart('main_jet', { bore_mm: 1.75 })
const smaller = withPart('main_jet', { bore_mm: 1.57 })

describe('a swap on record that did not happen', () => {
  const runs = [drive(small, 1), noted(drive(small, 2), middle)]

  it('is questioned, and no part is named upon it', () => {
    const advice = advise(runs, box)
    expect(advice).toMatchObject({ done: false, next: null })
    expect(advice.summary).toMatch(/main jet.*should have made .*richer.*look which one is fitted/i)
    expect(advice.needs?.length).toBeGreaterThan(0)
    expect(advice.states.cruise.verdict).toBe('lean')
    expect(advice.missing_sizes).toBeUndefined()
  })

  it('is questioned when the mixture went the other way', () => {
    const advice = advise([drive(small, 1), noted(drive(smaller, 2), middle)], box)
    expect(advice.next).toBeNull()
    expect(advice.summary).toMatch(/went leaner/)
  })

  it('is believed once the owner looked and drove again, with a word of doubt', () => {
    const advice = advise([...runs, noted(drive(small, 3), middle)], box)
    expect(advice.next).toMatchObject({ part: 'main_jet', direction: 'richer' })
    expect(advice.warnings!.join(' ')).toMatch(/should have made/)
  })

  it('is not seen in a swap that did happen', () => {
    const advice = advise([drive(small, 1), drive(middle, 2)], box)
    expect(advice.warnings!.join(' ')).not.toMatch(/should have/)
    expect(advice.shares).toBeDefined()
  })
})

describe('a run without a record of its parts', () => {
  it('is no run of the parts before it when its mixture is another', () => {
    const advice = advise([drive(small, 1), noted(drive(right, 2))], box)
    expect(advice.next).toBeNull()
    expect(advice.states.cruise.lambda).toBeCloseTo(1.02, 1)
    expect(advice.states.cruise.lambda).toBeLessThan(1.04)
    expect(textOf(advice)).toMatch(/no record of its parts/)
  })

  it('has the parts before it when its mixture is theirs', () => {
    const advice = advise([drive(small, 1), noted(drive(small, 2))], box)
    expect(advice.next).toMatchObject({ part: 'main_jet', from: small.main_jet })
    expect(textOf(advice)).not.toMatch(/no record of its parts/)
  })

  it('is left out when it came first and does not fit', () => {
    const advice = advise([noted(drive(small, 1)), drive(right, 2)], box)
    expect(advice).toMatchObject({ done: true, next: null })
    expect(advice.runs_used).toBe(1)
  })
})

describe('runs on two fuels', () => {
  const onFuel = (run: RunAnalysis, fuel?: { id?: string; ethanol_pct?: number }): RunAnalysis => ({
    ...run,
    car: { id: 'x', ...(fuel ? { fuel } : {}) },
  })
  const e85 = onFuel(
    drive(right, 1, { lambdaAt: (rpm, load, state) => 1.4 * engine(right)!(rpm, load, state) }),
    { id: 'e85' },
  )

  it('are not put together: only those of today count, and it is said', () => {
    const screws = withPart('idle_screws', { turns: 2.5 })
    const advice = advise([e85, onFuel(drive(screws, 2), { id: 'gasoline_e10' })], box)
    expect(advice.runs_used).toBe(1)
    expect(advice.next).toMatchObject({ part: 'idle_screws', direction: 'leaner' })
    expect(advice.shares).toMatchObject({ idle_screws: { idle: { mean: 0.45 } } })
    expect(textOf(advice)).toMatch(/driven on E85, today's on gasoline E10/)
  })

  it('are told apart by what each run noted, also under a profile that is given with them', () => {
    const car = { id: 'x', fuel: { id: 'gasoline_e10' } }
    const noted = { ...e85.result, run: { ...e85.result.run, fuel: { id: 'e85' } } }
    const advice = advise(
      [
        { ...e85, car, result: noted },
        { ...drive(right, 2), car },
      ],
      box,
      { car },
    )
    expect(advice.runs_used).toBe(1)
    expect(textOf(advice)).toMatch(/driven on E85, today's on gasoline E10/)
  })

  it('hand on what was fitted to a run without a record of its own', () => {
    const advice = advise([e85, noted(onFuel(drive(small, 2), { id: 'gasoline_e10' }))], box)
    expect(advice.next).toMatchObject({ part: 'main_jet', from: { bore_mm: 1.85 } })
  })

  it('are one where the fuels are nearly the same, or one of them is not named', () => {
    for (const fuels of [
      [{ ethanol_pct: 5 }, { ethanol_pct: 8 }],
      [{ id: 'e85' }, undefined],
    ]) {
      const advice = advise([onFuel(drive(right, 1), fuels[0]), onFuel(drive(right, 2), fuels[1])], box)
      expect(advice.runs_used).toBe(2)
      expect(textOf(advice)).not.toContain('driven on')
    }
  })
})

describe('runs of which one lacks the second sensor', () => {
  const lean: SyntheticOptions['lambdaAt'] = (rpm, load, state) => 1.08 * engine(right)(rpm, load, state)
  const withBoth = (day: number): RunAnalysis => {
    const second = drive(right, day, { seed: 80 + day, bank: 2, lambdaAt: lean })
    const one = drive(right, day)
    return { ...one, pieces: [...one.pieces, ...second.pieces].sort((a, b) => a.timeS - b.timeS) }
  }

  it('are laid beside each other by the bank that both tell', () => {
    const advice = advise([withBoth(1), drive(right, 2)], box)
    expect(advice.states.cruise.lambda).toBeCloseTo(1.02, 2)
    expect(advice.runs_used).toBe(2)
    expect(textOf(advice)).not.toMatch(/nothing is noted as changed/i)
    expect(textOf(advice)).toMatch(/tells bank 1 alone: bank 2, which earlier runs told, is not judged/)
  })

  it('take power to be as lean as the bank that is no longer told', () => {
    const advice = advise([withBoth(1), drive(right, 2)], box)
    expect(advice.states.power.lambda! / 0.865).toBeCloseTo(1.08, 1)
    expect(advice.next).toMatchObject({ circuit: 'power', direction: 'richer' })
  })

  it('teach nothing of a bank that they lack', () => {
    const advice = advise([drive(right, 1), withBoth(2)], box)
    expect(textOf(advice)).not.toMatch(/nothing is noted as changed|not judged/i)
    expect(advice.states.cruise.lambda).toBeCloseTo(1.06, 2)
  })
})

describe('parts that stayed, by the record, while the mixture moved', () => {
  it('are judged by today alone, and it is said', () => {
    const advice = advise([drive(right, 1), noted(drive(small, 2), right)], box)
    expect(advice.states.cruise.lambda).toBeGreaterThan(1.1)
    expect(textOf(advice)).toMatch(/nothing is noted as changed.*leaner/i)
  })

  it('are one set of runs while it only wandered', () => {
    const advice = advise([drive(right, 1), drive(right, 2), drive(right, 3)], box)
    expect(advice.runs_used).toBe(3)
    expect(textOf(advice)).not.toMatch(/noted/)
  })
})

const textOf = (advice: { summary?: unknown; warnings?: string[] }) =>
  [advice.summary, ...(advice.warnings ?? [])].join(' ')

describe('runs that are no further evidence', () => {
  it('count once when one is given twice', () => {
    const run = drive(small, 1)
    run.result.integrity.lines = 9000
    expect(advise([run, run], box).runs_used).toBe(1)
    expect(advise([run, run], box).states).toEqual(advise([run], box).states)
  })

  it('are left out when they are of the injection that the car had, or will have', () => {
    const injected: RunAnalysis = {
      ...drive(small, 1),
      car: { id: 'x', metering: 'throttle_body_injection' },
    }
    const carburetted: RunAnalysis = { ...drive(right, 2), car: { id: 'x', metering: 'carburettor' } }
    expect(advise([injected, carburetted], box)).toMatchObject({ runs_used: 1, done: true })
  })

  const metered = (run: RunAnalysis, metering: 'carburettor' | 'throttle_body_injection'): RunAnalysis => ({
    ...run,
    result: { ...run.result, run: { ...run.result.run, metering } },
  })

  it('are told apart by what each run noted, also under a profile that is given with them', () => {
    const car = { id: 'x', metering: 'carburettor' as const }
    const injected = metered({ ...drive(small, 1), car }, 'throttle_body_injection')
    const carburetted = metered({ ...drive(right, 2), car }, 'carburettor')
    expect(advise([injected, carburetted], box, { car })).toMatchObject({ runs_used: 1, done: true })
  })

  it('leave the newest of those that fit to be of today, and it is said', () => {
    const car = { id: 'x', metering: 'carburettor' as const }
    const later = { ...drive(small, 1), car, startMs: drive(right, 2).startMs + 1e8 }
    const advice = advise([drive(right, 2), metered(later, 'throttle_body_injection')], box, { car })
    expect(advice).toMatchObject({ runs_used: 1, done: true })
    expect(textOf(advice)).toContain('One run is left out: it was recorded with the injection.')
  })

  it('advise on nothing where all are of the time before a conversion, and it is said', () => {
    const car = { id: 'x', metering: 'throttle_body_injection' as const }
    const before = { ...drive(small, 1), car }
    const advice = advise([metered(before, 'carburettor')], box, { car })
    expect(advice).toMatchObject({ next: null, done: false, also: [] })
    expect(advice.needs?.length).toBeGreaterThan(0)
    expect(textOf(advice)).toContain('No run is recorded with the injection yet')
    const back = advise([metered(before, 'throttle_body_injection')], box, { car: { id: 'x' } })
    expect(back).toMatchObject({ next: null, done: false })
    expect(textOf(back)).toContain('No run is recorded with the carburettor yet')
  })

  it('keep their own metering and fuel under another profile', () => {
    const { bytes } = simulateRun({ car: findCar('pebble'), setup: 'injected', drive: 'traffic', seconds: 2 })
    const car = { id: 'pebble', fuel: { id: 'e85' } }
    const { result } = analyseCapture(bytes, { car, carWins: true })
    expect(result.run.metering).toBe('throttle_body_injection')
    expect(result.run.fuel).toEqual(findCar('pebble').profile.fuel)
    expect(result.run.fuel).toBeDefined()
  })
})
