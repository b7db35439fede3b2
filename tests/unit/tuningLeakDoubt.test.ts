import { describe, expect, it } from 'vitest'
import { formatAdvice } from '../../bridge/cli/advise.ts'
import type { AdviceResult } from '../../core/contract/advice.ts'
import type { Fitted } from '../../core/contract/car.ts'
import type { RunAnalysis } from '../../core/contract/result.ts'
import { type AdviseOptions, advise } from '../../core/tuning/advise.ts'
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
const needOf = (advice: AdviceResult) =>
  [...(advice.needs ?? []), ...((advice.also_needs as AdviceResult['needs']) ?? [])].find(
    ({ check }) => check === 'exhaust_leak',
  )

describe('an idle that reads lean as an exhaust leak makes it', () => {
  it('is not set richer before the leak was looked for: the test comes next', () => {
    const advice = adviceOf([day(shut, 1, true)])
    expect(advice.states.idle.verdict).toBe('lean')
    expect(advice.next).toBeNull()
    expect(advice.done).toBe(false)
    expect(needOf(advice)).toMatchObject({ state: 'idle', test: leak.test })
    expect(advice.summary).toMatch(/look for an exhaust leak first/i)
    expect(advice.summary).toContain(leak.test)
    expect(advice.also[0]).toMatchObject({ part: 'idle_screws', direction: 'richer', later: true })
    expect(String(advice.also[0].because.at(-1))).toMatch(/no leak is found/)
  })

  it('lets lean power go on, which destroys pistons', () => {
    const both = { ...shut, power_restriction: { label: 'x', bore_mm: 1.2 } }
    const advice = adviceOf([day(both, 1, true)])
    expect(advice.next).toMatchObject({ part: 'power_restriction', direction: 'richer' })
    expect(advice.also.some(({ part, later }) => part === 'idle_screws' && later === true)).toBe(true)
    expect(needOf(advice)).toBeDefined()
    expect(String(advice.warnings)).toMatch(/look for an exhaust leak/i)
  })

  it('judges a rich power too, which is chosen after idle', () => {
    const both = { ...shut, power_restriction: { label: 'x', bore_mm: 1.7 } }
    const advice = adviceOf([day(both, 1, true)])
    expect(advice.next).toBeNull()
    expect(advice.also.map(({ part }) => part)).toEqual(['idle_screws', 'power_restriction'])
  })

  it('judges the main jet, which is chosen after idle', () => {
    const both = { ...shut, main_jet: { label: 'x', bore_mm: 1.72 } }
    const advice = adviceOf([day(both, 1, true)])
    expect(advice.next).toBeNull()
    expect(advice.also.map(({ part }) => part)).toEqual(['idle_screws', 'main_jet'])
    expect(advice.states.cruise.verdict).toBe('lean')
    const none = advise([day(both, 1, true)], { main_jet: box.main_jet })
    expect(none.also.concat(none.next ?? []).map(({ part }) => part)).toContain('main_jet')
  })

  it('is set as soon as its owner says that no leak was found', () => {
    const advice = adviceOf([day(shut, 1, true)], { checked: ['exhaust_leak'] })
    expect(advice.next).toMatchObject({ part: 'idle_screws', direction: 'richer' })
    expect(needOf(advice)).toBeUndefined()
  })

  it('is asked about once: a drive later it is set, and was not blocked for want of an answer', () => {
    const advice = adviceOf([day(shut, 1, true), day(shut, 2, true)])
    expect(advice.next).toMatchObject({ part: 'idle_screws', direction: 'richer' })
    expect(advice.warnings).toContain(leak.text)
  })

  it('is not doubted where the screws were turned in since they read right', () => {
    const advice = adviceOf([day(right, 1, false), day(shut, 2, true)])
    expect(advice.next).toMatchObject({ part: 'idle_screws', direction: 'richer' })
  })

  it('is doubted anew where it read right with the same screws before', () => {
    const good = drive(shut, 1, { lambdaAt: () => 0.95 })
    const advice = adviceOf([good, day(shut, 2, true)])
    expect(advice.next?.part).not.toBe('idle_screws')
  })

  it('is not held up by the hint when it is to be set leaner, or is in its band', () => {
    expect(adviceOf([day(right, 1, true)]).done).toBe(true)
    const open = withPart('idle_screws', { turns: 3 })
    expect(adviceOf([day(open, 1, true)]).next).toMatchObject({ part: 'idle_screws', direction: 'leaner' })
  })

  it('says nothing of a size that the box lacks for it, nor twice of the leak', () => {
    const advice = advise([day(shut, 1, true)], { main_jet: box.main_jet, idle_screws: [] })
    const all = [advice.summary, ...(advice.warnings ?? [])].join(' ')
    expect(all).not.toContain('Nothing in the box')
    expect(all.match(/exhaust leak/gi)?.length).toBeLessThanOrEqual(2)
    const text = formatAdvice(adviceOf([day(shut, 1, true)]))
    expect(text.split(leak.test)).toHaveLength(2)
    expect(text).toContain('Later, if no leak is found: idle mixture screws 0.75 →')
  })

  it('holds back the factor of an injection likewise', () => {
    const car = { id: 'x', metering: 'throttle_body_injection' as const }
    const table: Fitted = { ...right, fuel_table: { label: 'A' } }
    const lambdaAt = (_rpm: number, load: number, state: string) =>
      state === 'idle' ? 1.12 : load < 0.6 ? 1.02 : load < 0.85 ? 0.97 : 0.865
    const run = doubted(drive(table, 1, { lambdaAt, car }))
    const advice = advise([run], {}, { car })
    expect(advice.next).toBeNull()
    expect(needOf(advice)).toBeDefined()
    expect(advise([run], {}, { car, checked: ['exhaust_leak'] }).next?.circuit).toBe('idle')
  })
})
