import { describe, expect, it } from 'vitest'
import { adviseChoke } from '../../core/tuning/chokeAdvice.ts'
import type { ObservedRun } from '../../core/tuning/runObservations.ts'
import { chokeNotches } from '../../simulator/cars/partBox.ts'

/** A run whose warm-up was off its target by so much λ all the way, at this notch. */
const warmUp = (notch: number, off: number) => {
  const lambda_by_coolant = [25, 35, 45, 55].map((coolantC) => [coolantC, 0.85 + off, 0.85])
  return {
    run: { result: { warm_up: { choke: off < 0 ? 'late' : 'early', lambda_by_coolant } } },
    fitted: { choke: { label: `${notch}`, notch } },
  } as unknown as ObservedRun
}
const box = { choke: chokeNotches() }
const notchAfter = (verdict: 'early' | 'late', ...runs: ObservedRun[]) =>
  adviseChoke(verdict, runs.at(-1)!.fitted, box, runs)?.to.notch

describe('adviseChoke', () => {
  it('goes as many notches as the warm-up is off, three at the most', () => {
    expect(notchAfter('late', warmUp(0, -0.03))).toBe(-1)
    expect(notchAfter('late', warmUp(0, -0.07))).toBe(-2)
    expect(notchAfter('late', warmUp(0, -0.3))).toBe(-3)
    expect(notchAfter('early', warmUp(-1, 0.11))).toBe(1)
  })

  it('reckons by what a notch has done to this car before', () => {
    expect(notchAfter('late', warmUp(0, -0.12), warmUp(-2, -0.09))).toBe(-3)
    expect(notchAfter('late', warmUp(1, -0.15), warmUp(0, -0.1))).toBe(-2)
  })

  it('takes the settings at hand, and one notch of a choke whose settings have no figure', () => {
    const few = { choke: [{ label: 'lean', notch: -3 }] }
    expect(
      adviseChoke('late', { choke: { label: 'index', notch: 0 } }, few, [warmUp(0, -0.05)])?.to.label,
    ).toBe('lean')
    expect(adviseChoke('early', {}, {}, [])?.to.label).toBe('one notch richer')
    expect(adviseChoke(undefined, {}, box, [])).toBeUndefined()
  })
})
