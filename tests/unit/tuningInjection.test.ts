import { describe, expect, it } from 'vitest'
import { formatAdvice } from '../../bridge/cli/advise.ts'
import type { CarProfile, Fitted } from '../../core/contract/car.ts'
import type { RunAnalysis, TransientPattern, WarmUp } from '../../core/contract/result.ts'
import { advise } from '../../core/tuning/advise.ts'
import { circuitVerdicts } from '../../core/tuning/circuitVerdicts.ts'
import type { InjectionFactors } from '../../core/tuning/injectionFactors.ts'
import { reportHtml } from '../../core/tuning/reportHtml.ts'
import { drive, engine, right, tipIn } from '../support/jettingCar.ts'

/** The run with what its owner noted as typed in. */
const noted = (run: RunAnalysis, fitted: Fitted | undefined): RunAnalysis => {
  const { fitted: _, ...rest } = run.result.run
  return { ...run, result: { ...run.result, run: fitted ? { ...rest, fitted } : rest } }
}

describe('throttle-body injection', () => {
  const car = { id: 'tbi', metering: 'throttle_body_injection' as const }
  const withLambda = (of: Partial<Record<string, number>>, hints: { code: string; text: string }[] = []) => {
    const rightElse = engine(right)
    const run = drive(right, 1, { lambdaAt: (rpm, load, state) => of[state] ?? rightElse(rpm, load, state) })
    const trust = { ...run.result.trust, hints: hints.map((hint) => ({ ...hint, evidence: {} })) }
    return { ...run, result: { ...run.result, trust } }
  }

  it('warns of lean power and passes on what the trust gate hints at', () => {
    const hint = { code: 'misfire', text: 'It misses.' }
    const { warnings } = advise([withLambda({ power: 0.95 }, [hint])], {}, { car })
    expect(warnings!.join(' ')).toContain('Lean under load destroys pistons')
    expect(warnings).toContain('It misses.')
  })

  it('foretells what a factor does, also one that is held', () => {
    const near = advise([withLambda({ cruise: 0.95 })], {}, { car }).next!
    expect(near.expected_lambda).toBeCloseTo(1.02, 2)
    expect(near.expected_ci95![0]).toBeLessThan(near.expected_lambda!)
    expect(near.expected_ci95![1]).toBeGreaterThan(near.expected_lambda!)
    const far = advise([withLambda({ cruise: 0.7 })], {}, { car }).next!
    expect(far.area_factor).toBe(0.8)
    expect(far.expected_lambda).toBeCloseTo(0.7 / 0.8, 2)
    expect(far.because.join(' ')).toMatch(/in two rounds/)
  })

  const withTips = (run: RunAnalysis, pattern: TransientPattern): RunAnalysis => ({
    ...run,
    result: {
      ...run.result,
      transients: Array.from({ length: 9 }, () => ({
        ...tipIn(pattern),
        rich_peak: pattern === 'rich' ? -0.2 : 0,
      })),
    },
  })

  it('judges the acceleration enrichment when the states are right', () => {
    const adviceOn = (pattern: TransientPattern, run = withLambda({})) =>
      advise([withTips(run, pattern)], {}, { car })
    const thin = adviceOn('lean_at_once')
    expect(thin).toMatchObject({
      done: false,
      next: { part: 'acceleration_enrichment', circuit: 'pump', direction: 'richer' },
      states: { pump: { verdict: 'lean', pattern: 'lean_at_once', tip_ins: 9 } },
    })
    expect(thin.next!.area_factor).toBeGreaterThan(1.1)
    expect(thin.factors).toMatchObject({ acceleration: { factor: thin.next!.area_factor, decay_factor: 1 } })
    expect(thin.summary).toBe(`Type in: acceleration enrichment × ${thin.next!.area_factor!.toFixed(2)}.`)
    const thick = adviceOn('rich').next!
    expect(thick).toMatchObject({ part: 'acceleration_enrichment', direction: 'leaner' })
    expect(thick.area_factor).toBeLessThan(0.9)
    expect(adviceOn('lean_then_rich').next!.to.label).toBe('decay × 0.67')
    expect(adviceOn('clean')).toMatchObject({ done: true, factors: { acceleration: null } })
    expect(adviceOn('lean_at_secondary')).toMatchObject({ next: null, factors: { acceleration: null } })
    const lean = adviceOn('lean_at_once', withLambda({ cruise: 1.2 }))
    expect(lean).toMatchObject({ next: { part: 'fuel_table' }, also: [], factors: { acceleration: null } })
  })

  it('tells it on the sheet, in the terminal and in the verdict by its own name', () => {
    const run = withTips(withLambda({}), 'lean_at_once')
    const advice = advise([run], {}, { car })
    const html = reportHtml({ analysis: run, advice, car })
    expect(html).toMatch(/acceleration enrichment<\/th><td class="number">× 1\.\d\d/)
    expect(formatAdvice(advice)).toMatch(/acceleration enrichment × 1\.\d\d/)
    const names = circuitVerdicts(run, { car }).map(({ name, words }) => `${name}: ${words}`)
    expect(names).toContain('Acceleration: lean at once')
  })

  it('lets the fuel of an opening last longer where the mixture goes lean late', () => {
    const run = withTips(withLambda({}), 'lean_later')
    const late = run.result.transients.map((entry) => ({ ...entry, lean_peak_after_s: 0.9 }))
    const { next } = advise([{ ...run, result: { ...run.result, transients: late } }], {}, { car })
    expect(next).toMatchObject({ to: { label: 'decay × 1.5' }, direction: 'richer', area_factor: null })
  })

  it('asks for openings before a new acceleration enrichment counts as right', () => {
    const typed = (run: RunAnalysis, label: string) => noted(run, { acceleration_enrichment: { label } })
    const before = typed(withTips(withLambda({}), 'lean_at_once'), '× 1.20')
    const { done, needs } = advise([before, typed(withLambda({}), '× 1.50')], {}, { car })
    expect(done).toBe(false)
    expect(needs).toContainEqual(expect.objectContaining({ state: 'tip_in' }))
  })

  describe('while cold', () => {
    const cold = (choke: WarmUp['choke'], factor: number, label?: string): RunAnalysis => {
      const run = withLambda({})
      const rows = [20, 30, 40, 50, 70].map((c): [number, number, number] => [c, 0.9 * factor, 0.9])
      const warm_up: WarmUp = {
        crank_s: 1,
        stalls: 0,
        self_idle_s: 60,
        self_idle_coolant_C: 40,
        choke,
        lambda_by_coolant: rows,
      }
      return noted(
        { ...run, result: { ...run.result, warm_up } },
        label ? { cold_enrichment: { label } } : undefined,
      )
    }

    it('has the fuel by coolant and on the whole, up to the warm engine', () => {
      const { next, factors, done } = advise([cold('late', 0.8)], {}, { car })
      expect(next).toMatchObject({ circuit: 'choke', part: 'cold_enrichment', direction: 'leaner' })
      expect(next!.to.label).toBe('× 0.80')
      expect((factors as InjectionFactors).cold).toEqual(
        [20, 30, 40, 50].map((coolant_C) => ({ coolant_C, factor: 0.8, percent: -20 })),
      )
      expect(done).toBe(false)
      expect(advise([cold('early', 1.1)], {}, { car }).next).toMatchObject({ direction: 'richer' })
    })

    it('leaves alone what is fine, and what unsteadiness alone calls for', () => {
      expect(advise([cold('fine', 1.02)], {}, { car })).toMatchObject({ done: true, next: null })
      expect(advise([cold('early', 0.95)], {}, { car }).next).toBeNull()
    })

    it('rests on a warm-up with what is typed in now', () => {
      const typed = noted(withLambda({}), { cold_enrichment: { label: '× 0.80' } })
      expect(advise([cold('late', 0.8, 'as it was'), typed], {}, { car }).next).toBeNull()
      const again = advise([cold('late', 0.8, '× 0.80'), typed], {}, { car }).next
      expect(again).toMatchObject({ part: 'cold_enrichment', from: { label: '× 0.80' } })
    })

    it('is told on the sheet, in the terminal and in the verdict by its own name', () => {
      const run = cold('late', 0.8)
      const advice = advise([run], {}, { car })
      const html = reportHtml({ analysis: run, advice, car })
      expect(html).toMatch(/cold, coolant 20 °C.*× 0\.80/s)
      expect(formatAdvice(advice)).toMatch(/coolant °C +fuel × +percent\s+20 +0\.800 +-20\.0/)
      const names = circuitVerdicts(run, { car }).map(({ name, words }) => `${name}: ${words}`)
      expect(names).toContain('Cold enrichment: too much')
      // Driving that would be a carburettor's transfer.
      const pieces = run.pieces.map((piece) =>
        piece.state === 'cruise' ? { ...piece, throttlePct: 3, load: 0.4 } : { ...piece, throttlePct: 0 },
      )
      const circuitsOf = (of: CarProfile | undefined) =>
        circuitVerdicts({ ...run, car: undefined, pieces }, { car: of }).map(({ circuit }) => circuit)
      expect(circuitsOf(car)).not.toContain('transfer')
      expect(circuitsOf({ id: 'carburettor' })).toContain('transfer')
    })
  })
})
