import { describe, expect, it } from 'vitest'
import { formatAdvice } from '../../bridge/cli/advise.ts'
import type { AdviceResult } from '../../core/contract/advice.ts'
import type { Fitted } from '../../core/contract/car.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { type AdviseOptions, advise } from '../../core/tuning/advise.ts'
import type { LeakLook } from '../../core/tuning/leakLook.ts'
import { box, drive, right, withPart } from '../support/jettingCar.ts'

const leak = {
  code: 'exhaust_leak',
  text: 'Idle reads lean and steady while cruise is fine: air may enter the exhaust before the sensor.',
  evidence: { idle_error: 0.2 },
  test: 'Listen along the joints.',
}
/** The run with the hint that its reading of idle may be false. */
const doubted = (run: RunAnalysis): RunAnalysis => ({
  ...run,
  result: { ...run.result, trust: { ...run.result.trust, hints: [leak] } },
})
const shut = withPart('idle_screws', { turns: 0.75 })
const day = (fitted: Fitted, n: number, isDoubted: boolean) => {
  const run = drive(fitted, n)
  return isDoubted ? doubted(run) : run
}
const adviceOf = (runs: RunAnalysis[], options: AdviseOptions = {}) => advise(runs, box, options)
const pick = ({ next, also, done, needs }: AdviceResult) => ({ next, also, done, needs })
const lookOf = (advice: AdviceResult) => advice.look as LeakLook | undefined

describe('an idle that reads lean as an exhaust leak makes it', () => {
  it('is set richer, with the look for a leak said before all else', () => {
    const advice = adviceOf([day(shut, 1, true)])
    expect(advice.states.idle.verdict).toBe('lean')
    expect(advice.next).toMatchObject({ part: 'idle_screws', direction: 'richer' })
    expect(lookOf(advice)).toMatchObject({ check: 'exhaust_leak', test: leak.test })
    expect(advice.warnings?.[0]).toMatch(/^Look for an exhaust leak first: .* Listen along the joints\.$/)
  })

  it('changes no step of the advice', () => {
    const both = {
      ...shut,
      main_jet: { label: 'x', bore_mm: 1.72 },
      power_restriction: { label: 'x', bore_mm: 1.2 },
    }
    const { next, also, done, needs } = adviceOf([day(both, 1, true)])
    expect({ next, also, done, needs }).toEqual(pick(adviceOf([day(both, 1, false)])))
  })

  it('asks no more as soon as its owner says that no leak was found', () => {
    const advice = adviceOf([day(shut, 1, true)], { checked: ['exhaust_leak'] })
    expect(advice.next).toMatchObject({ part: 'idle_screws', direction: 'richer' })
    expect(lookOf(advice)).toBeUndefined()
  })

  it('asks again where the screws were opened and the hint stays: more fuel did not mend it', () => {
    const opened = withPart('idle_screws', { turns: 1 })
    expect(lookOf(adviceOf([day(shut, 1, true), day(opened, 2, true)]))).toBeDefined()
  })

  it('is not doubted where the screws were turned in since they read right', () => {
    expect(lookOf(adviceOf([day(right, 1, false), day(shut, 2, true)]))).toBeUndefined()
  })

  it('is doubted where it read right with the same screws before', () => {
    const good = drive(shut, 1, { lambdaAt: () => 0.95 })
    expect(lookOf(adviceOf([good, day(shut, 2, true)]))).toBeDefined()
  })

  it('asks for no look when it is to be set leaner, or is in its band', () => {
    expect(lookOf(adviceOf([day(right, 1, true)]))).toBeUndefined()
    expect(lookOf(adviceOf([day(withPart('idle_screws', { turns: 3 }), 1, true)]))).toBeUndefined()
  })

  it('is told of the leak once', () => {
    const text = formatAdvice(adviceOf([day(shut, 1, true)]))
    expect(text.split(leak.test)).toHaveLength(2)
    expect(text).not.toContain(leak.text)
  })

  it('has its factor in an injection likewise', () => {
    const car = { id: 'x', metering: 'throttle_body_injection' as const }
    const table: Fitted = { ...right, fuel_table: { label: 'A' } }
    const lambdaAt = (_rpm: number, load: number, state: string) =>
      state === 'idle' ? 1.12 : load < 0.6 ? 1.02 : load < 0.85 ? 0.97 : 0.865
    const run = doubted(drive(table, 1, { lambdaAt, car }))
    const advice = advise([run], {}, { car })
    expect(advice.next?.circuit).toBe('idle')
    expect(lookOf(advice)).toBeDefined()
    expect(lookOf(advise([run], {}, { car, checked: ['exhaust_leak'] }))).toBeUndefined()
  })
})
